# `make help` lists the targets. Works with GNU make 4.3 and a plain POSIX shell.

# What `make demo` shows: a vehicle folder and one control module in it.
DEMO   ?= circuits/minibus
MODULE ?= ALM

# The Python that makes the environment; 3.11 or newer. Another one: make PYTHON=python3.12 demo
PYTHON ?= python3

VENV  := .venv
BIN   := $(VENV)/bin
STAMP := $(VENV)/.installed

.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
.PHONY: help demo check quick bench fuzz mutants coverage golden docs pictures lock clean distclean

help: ## this list
	@awk -F ':.*## ' '/^[a-z]+:.*## / {printf "  make %-10s %s\n", $$1, $$2}' Makefile

# Exit status 3 says "done, but loose ends remain": a true answer, so the demo does not fail on it.
demo: $(STAMP) ## list the supplies and grounds of the demo module
	@echo "tracer -C $(DEMO) supplies $(MODULE)"
	@$(BIN)/tracer -C $(DEMO) supplies $(MODULE) || { \
	  status=$$?; [ $$status -eq 3 ] || exit $$status; \
	  echo; echo "(exit status 3: loose ends remain, the list is not complete)"; }

check: $(STAMP) ## style, types and all tests
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/pytest -n auto

# What most changes break, in less than a minute on two cores: no law over generated vehicles, no printing, no child process for each command.
QUICK := tests/test_layers.py tests/test_using_from_python.py tests/standards tests/published tests/circuit tests/entry/test_runs.py \
  tests/entry/test_facts.py tests/entry/test_schema.py tests/trace/test_rules.py tests/trace/test_ways.py tests/trace/test_positions.py \
  tests/electrics/test_network.py tests/electrics/test_loads.py tests/electrics/test_bus.py tests/report/test_layout.py

quick: $(STAMP) ## style, types and the tests that most changes break, in less than a minute
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/pytest -n auto -q $(QUICK)

bench: $(STAMP) ## measure speed and memory
	$(BIN)/python benchmarks/run.py

fuzz: $(STAMP) ## 100 000 spoiled inputs of every sort; what goes wrong is kept in tests/fuzz/found (SEED=2: others)
	$(BIN)/python -m tests.fuzz.fuzz 100000 $(or $(SEED),1)

mutants: $(STAMP) ## make one thing in the code wrong at a time: does a test notice? (EACH=10: of each folder, SEED=2: others; first run: an hour)
	$(BIN)/python -m tools.mutants --each $(or $(EACH),40) --seed $(or $(SEED),1)

# Child processes count, and each process writes a file of its own; a part of the tests: make coverage TESTS="tests/case tests/plan". Fewer generated cases,
# which take the same branches.
coverage: $(STAMP) ## which branches of tracer/ the tests take: at least 95 % (TESTS=tests/case: what these take; all of it: half an hour)
	rm -rf build/coverage
	mkdir -p build/coverage
	TRACER_TESTS=few HERE='$(CURDIR)' $(BIN)/python -m coverage run --rcfile=tools/coverage.ini -m pytest -n auto -q $(TESTS)
	HERE='$(CURDIR)' $(BIN)/python -m coverage combine --quiet --rcfile=tools/coverage.ini
	HERE='$(CURDIR)' $(BIN)/python -m coverage report --rcfile=tools/coverage.ini $(if $(TESTS),,--fail-under=95)

golden: $(STAMP) ## rewrite the expected outputs in tests/golden; read the diff afterwards
	TRACER_GOLDEN=write $(BIN)/pytest -n auto

docs: $(STAMP) ## the documentation as pages, below build/docs
	$(BIN)/python docs/site/build.py

pictures: $(STAMP) ## make the pictures of the README and the documentation anew (needs Chromium); a test asks whether they are current
	$(BIN)/python docs/pictures/rebuild.py

# `fewest` keeps one version of each package for all Python versions, so that outputs are the same on all.
lock: $(STAMP) ## pin all dependencies anew in requirements.lock
	$(BIN)/uv pip compile pyproject.toml --group dev --universal --python-version 3.11 \
	  --constraints constraints.txt --fork-strategy fewest --generate-hashes --no-config --upgrade --quiet \
	  --custom-compile-command "make lock" --output-file requirements.lock

clean: ## remove caches and build products, keep the environment
	rm -rf build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis .mutants
	find . -path ./$(VENV) -prune -o -type d -name __pycache__ -exec rm -rf {} +

distclean: clean ## remove the environment too
	rm -rf $(VENV)

# The value of a variable, for scripts: make -s print-DEMO
print-%:
	@echo "$($*)"

# The environment, made once and again whenever the pinned versions or the project file change.
$(STAMP): requirements.lock pyproject.toml
	@python=$(BIN)/python; [ -x $$python ] || python='$(PYTHON)'; \
	command -v $$python >/dev/null 2>&1 || { \
	  echo "Python not found: '$$python'. Install Python 3.11 or newer, or name one:" >&2; \
	  echo "  make PYTHON=python3.12 $(or $(MAKECMDGOALS),check)" >&2; exit 1; }; \
	$$python -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { \
	  echo "Python 3.11 or newer is needed, and '$$python' is `$$python -V 2>&1`. Name a newer one:" >&2; \
	  echo "  make distclean && make PYTHON=python3.12 $(or $(MAKECMDGOALS),check)" >&2; exit 1; }; \
	$$python -c 'import ensurepip, venv' 2>/dev/null || { \
	  echo "'$$python' comes without the venv module. On Debian and Ubuntu: apt install python3-venv" >&2; exit 1; }
	@echo "Setting up $(VENV) with the pinned versions; this is done once and takes a minute or two."
	@[ -x $(BIN)/python ] || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@
