# The two commands of the README are `make demo` and `make test`. Everything else serves
# the people who work on the code; DEVELOPERS.md says when to use which.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check -qq
# Python compiles a module when it is first used; all of them at once takes longer than the rest.
INSTALL := $(PIP) install --no-compile
# What it compiled is kept, whatever the environment says: the tests start hundreds of processes.
export PYTHONDONTWRITEBYTECODE :=

.PHONY: demo test test-slow cover lint format repro bench docs pictures peers ablation weak-spots coverage fuzz audit licences \
  pins pythons release \
  clean

# --- set-up ---------------------------------------------------------------------------

$(VENV)/run-ready: requirements/run.txt pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "pullbook needs Python 3.11 or newer; name one with: make PYTHON=/path/to/python3 $(MAKECMDGOALS)" >&2; exit 1; }
	@echo "Setting up $(VENV) from requirements/run.txt (about half a minute, once)"
	@$(PYTHON) -m venv $(VENV)
	@$(INSTALL) --require-hashes --requirement requirements/run.txt
	@$(INSTALL) --no-deps --no-build-isolation --editable .
	@touch $@

$(VENV)/dev-ready: $(VENV)/run-ready requirements/dev.txt
	@echo "Adding the development tools from requirements/dev.txt (about a minute, once)"
	@$(INSTALL) --require-hashes --requirement requirements/dev.txt
	@touch $@

# --- for everyone ---------------------------------------------------------------------

demo: $(VENV)/run-ready
	@$(BIN)/pullbook demo

# Tests run side by side; who waits for the last one takes over some of the others' tests.
WORKERS ?= 2
PYTEST := $(BIN)/python -m pytest -n $(WORKERS) --dist worksteal

test: $(VENV)/dev-ready
	@$(PYTEST) -m "not slow"

# --- for developers -------------------------------------------------------------------

# A file's tests stay together here: those of one file work on one project.
test-slow: $(VENV)/dev-ready
	@$(PYTEST) --dist loadfile -m slow

cover: $(VENV)/dev-ready
	@$(PYTEST) -m "not slow" --cov --cov-report=term --cov-report=json:$(VENV)/coverage.json
	@$(BIN)/python .ci/cover.py $(VENV)/coverage.json

lint: $(VENV)/dev-ready
	@$(BIN)/ruff check .
	@$(BIN)/ruff format --check .
	@rm -rf $(VENV)/one_name && mkdir -p $(VENV)/one_name/pullbook
	@ln -s $(CURDIR)/pullbook/* $(CURDIR)/schemas $(CURDIR)/pipeline $(CURDIR)/model $(VENV)/one_name/pullbook
	@$(BIN)/mypy

format: $(VENV)/dev-ready
	@$(BIN)/ruff check --fix .
	@$(BIN)/ruff format .

repro: $(VENV)/dev-ready
	@PATH="$(CURDIR)/$(BIN):$$PATH" $(BIN)/dvc repro

# The documentation as a site, in build/docs. Whatever Sphinx warns of is an error.
docs: $(VENV)/dev-ready
	@$(BIN)/python -m sphinx -b html -E -a -W --keep-going -n -q docs build/docs
	@echo "Open build/docs/index.html"

# The pictures of the page, as its tests see it in the browser.
pictures: $(VENV)/dev-ready
	@PULLBOOK_PICTURES=docs/pictures $(BIN)/python -m pytest -n 0 tests/test_page_browser.py -k fits
	@PULLBOOK_PICTURES=docs/pictures $(BIN)/python -m pytest -n 0 tests/test_documents.py -k how-to

# Every pin against a database of known weaknesses; says so where none can be reached.
audit: $(VENV)/dev-ready
	@$(BIN)/python .ci/audit.py

# The page of licences, from the pins and what the installed packages say.
licences: $(VENV)/dev-ready
	@$(BIN)/python .ci/bill_of_materials.py

fuzz: $(VENV)/dev-ready
	@cd tests && ../$(BIN)/python fuzz_reader.py --inputs 100000
	@$(BIN)/python tests/fuzz_archive.py 20000
	@cd tests && ../$(BIN)/python fuzz_bundles.py --damaged 10000 --crafted 1000

bench: $(VENV)/dev-ready
	@$(BIN)/python benchmarks/run.py

$(VENV)/peers-ready: $(VENV)/dev-ready requirements/peers.txt
	@echo "Adding the peers from requirements/peers.txt (about a minute, once)"
	@$(INSTALL) --require-hashes --requirement requirements/peers.txt
	@touch $@

peers: $(VENV)/peers-ready
	@$(BIN)/python benchmarks/contest.py data/split/learn

# Where answers fall short, over invented circles: some ten minutes.
weak-spots: $(VENV)/dev-ready
	@$(BIN)/python benchmarks/weak_spots.py

coverage: $(VENV)/dev-ready
	@$(BIN)/python benchmarks/own_dyno.py --out reports/own_dyno.csv

# Each part left out, on five invented circles: some twenty minutes.
ablation: $(VENV)/dev-ready
	@$(BIN)/python benchmarks/ablation.py

# Pins carry versions and hashes and name no registry, so that any mirror serves.
PINS := $(BIN)/uv pip compile --quiet --universal --python-version 3.11 --no-header \
  --no-emit-index-url --generate-hashes pyproject.toml

pins: $(VENV)/dev-ready
	@$(PINS) --upgrade --extra build --output-file requirements/run.txt
	@$(PINS) --upgrade --extra build --extra dev --constraints requirements/run.txt --output-file requirements/dev.txt
	@$(PINS) --upgrade --extra build --extra dev --extra peers --constraints requirements/dev.txt --output-file requirements/peers.txt

# Every supported Python that this machine has: the tests, in an environment of its own.
PYTHONS := 3.11 3.12 3.13 3.14
pythons:
	@for one in $(PYTHONS); do \
	  if command -v python$$one >/dev/null; then \
	    echo "python$$one"; $(MAKE) --no-print-directory PYTHON=python$$one VENV=.venv-$$one test || exit 1; \
	  else echo "python$$one is not on this machine"; fi; \
	done

# make release VERSION=0.2.0 writes the version and the changelog's date, builds the wheel and
# tries it in an empty environment. DEVELOPERS.md has the checklist.
release: $(VENV)/dev-ready
	@$(BIN)/python .ci/release.py $(VERSION)

clean:
	@rm -rf $(VENV) .venv-3.* build dist *.egg-info demo-out
