"""`python -m tracer.cli` is the `tracer` command."""

from tracer.cli import main

main()
