# make demo, make test and make lint need nothing but Python 3.11 or newer (with venv) and make.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
DEMO_CELL := cells/tea-seven-layers.yaml
DEMO_PICTURES := demo-pictures
DEMO_PAGE := demo-report.html

.PHONY: help demo test lint bench soak clean

help:
	@echo "make demo   check an example cell that fails, draw its problem spots and write its page"
	@echo "make test   run the tests"
	@echo "make lint   ruff, pyright and import-linter"
	@echo "make bench  measure speed beside general-purpose libraries (about 10 minutes)"
	@echo "make soak   look for wrong clearances in ever new scenes, and hold a survey against checks"
	@echo "            of its cells (70 minutes)"
	@echo "make clean  remove the virtual environment and everything made here"

# Status 1 of the check says that a placement fails: that is the right answer for this cell.
demo: $(VENV)/installed
	@echo "envelope check $(DEMO_CELL) --pictures $(DEMO_PICTURES) --report $(DEMO_PAGE)"
	@$(BIN)/envelope check $(DEMO_CELL) --pictures $(DEMO_PICTURES) --report $(DEMO_PAGE) --force; \
	status=$$?; \
	if [ $$status -eq 1 ]; then \
		echo; \
		echo "This example cell is meant to fail (exit status 1): its upper layers are out of reach."; \
		echo "Open $(DEMO_PAGE) in a browser."; \
	else exit $$status; fi

test: $(VENV)/installed-dev
	$(BIN)/python -m pytest -n auto --dist worksteal

lint: $(VENV)/installed-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/pyright --pythonpath $(BIN)/python
	$(BIN)/lint-imports

bench: $(VENV)/installed-dev
	$(BIN)/python -m tests.benchmarks

soak: $(VENV)/installed-dev
	$(BIN)/python -m tests.soak.soak_clearance --minutes 50
	$(BIN)/python -m tests.soak.soak_survey --positions 100

clean:
	rm -rf $(VENV) $(DEMO_PICTURES) $(DEMO_PAGE) build dist .pytest_cache .ruff_cache .hypothesis .import_linter_cache

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit("Python 3.11 or newer is needed; name one with: make PYTHON=python3.12" if sys.version_info < (3, 11) else 0)'
	$(PYTHON) -m venv $(VENV)

# The stamps stand for a finished installation: an interrupted one is made again.
$(VENV)/installed: pyproject.toml | $(BIN)/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	@touch $@

$(VENV)/installed-dev: pyproject.toml | $(BIN)/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[dev]'
	@touch $(VENV)/installed $@
