"""Build the documentation as plain pages: `make docs`. What is typed in `docs/` and what is made (`pages.py`) are laid together below `build/`, and Sphinx makes pages of them."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path.insert(0, str(ROOT))


def lay_together(folder: Path) -> None:
    """All pages as Markdown, typed and made, with the pictures, in one folder."""
    from docs.site.pages import pages

    typed = [path for path in (ROOT / "docs").rglob("*") if path.suffix in (".md", ".svg", ".png")]
    for path in typed:
        target = folder / path.relative_to(ROOT / "docs")
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, target)
    for name, text in pages():
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        if target.exists():
            raise RuntimeError(f"docs/{name} is made by docs/site/pages.py and typed as well")
        target.write_text(text, encoding="utf-8")


def build(source: Path, output: Path) -> int:
    """Pages of what lies in `source`; a link that leads nowhere, or a page that none leads to, fails it. Gives Sphinx' exit status."""
    from sphinx.cmd.build import build_main

    status = build_main(["-q", "-n", "-W", "--keep-going", "-E", "-c", str(HERE), "-d", str(source.parent / "doctrees"), str(source), str(output)])  # fmt: skip
    for path in (output / "_static").iterdir():
        if path.name != "style.css":  # scripts and styles that no page asks for
            path.unlink()
    return status


def main(folder: Path) -> int:
    """Write the pages into `docs` of a folder, and what they are made of into `docs-source`."""
    source, output = folder / "docs-source", folder / "docs"
    for old in (source, output):
        shutil.rmtree(old, ignore_errors=True)
    lay_together(source)
    status = build(source, output)
    if status == 0:
        print(f"wrote {output}; open {output / 'index.html'}")
    return status


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "build"))
