# The same commands at the desk and in CI. `make demo` and `make test` set up what they need.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: help demo test test-long gis-check check bench setup setup-dev clean

help:
	@echo "make demo       set up, run the demo project, say where the review page lies"
	@echo "make test       set up, run the tests"
	@echo "make test-long  the proofs that take minutes; prints their figures"
	@echo "make gis-check  a desktop GIS opens and draws a delivery (part of test-long; needs qgis and python3-qgis)"
	@echo "make check      ruff and mypy"
	@echo "make bench      where the time goes"

setup:
	@command -v $(PYTHON) >/dev/null 2>&1 || { echo "Python is missing. Install it with: sudo apt-get install python3 python3-venv make libexpat1"; exit 2; }
	@$(PYTHON) .ci/prepare.py $(VENV)

setup-dev:
	@command -v $(PYTHON) >/dev/null 2>&1 || { echo "Python is missing. Install it with: sudo apt-get install python3 python3-venv make libexpat1"; exit 2; }
	@$(PYTHON) .ci/prepare.py $(VENV) --dev

demo: setup
	@$(BIN)/spreadmap demo demo_run

test: setup-dev
	@$(BIN)/python tests/side_by_side.py -m "not long"

test-long: setup-dev
	@$(BIN)/python -m pytest -m long -s

gis-check: setup-dev
	@$(BIN)/python -m pytest tests/test_gis_check.py -m long -s

check: setup-dev
	@$(BIN)/ruff check .
	@$(BIN)/ruff format --check .
	@$(BIN)/mypy

bench: setup-dev
	@$(BIN)/python tests/benchmarks/whole_run.py

clean:
	rm -rf $(VENV) demo_run
