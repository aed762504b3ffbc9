# make demo: install, read a sample bout, say where the result is.   make test: what CI runs.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
# Part of the key is pyproject.toml: a changed dependency installs again, an unchanged one doesn't.
INSTALLED := $(VENV)/.installed
TESTED := $(VENV)/.installed-test
TRAINED := $(VENV)/.installed-training

.PHONY: demo test bench evaluate families coverage reader-families reference training clean

demo: $(INSTALLED)
	$(BIN)/matline demo

test: $(TESTED)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/python -m pytest

bench: $(TESTED)
	$(BIN)/python -m tests.bodies.bench_reader
	$(BIN)/python -m tests.overnight.bench_reading
	$(BIN)/python -m tests.overnight.bench_engines
	$(BIN)/python -m tests.overnight.bench_fuzz
	$(BIN)/python -m tests.review.bench_page

evaluate: $(TESTED)
	$(BIN)/python -m models.training.positions evaluate $(if $(BOUTS),--bouts $(BOUTS))
	$(BIN)/python -m tests.overnight.evaluate_clips

# Files as in docs/positions.md and docs/reader.md; MORE="--more packs.npz --name composed" and the like.
MATERIAL = --cast $(CAST) --pairs $(PAIRS) --test-cast $(TEST_CAST) --test-pairs $(TEST_PAIRS)
families: $(TRAINED)
	$(BIN)/python -m models.training.positions families $(MATERIAL) --out $(or $(OUT),families) $(MORE)

coverage: $(TRAINED)
	$(BIN)/python -m models.training.positions coverage $(MATERIAL) $(MORE)

reader-families: $(TRAINED)
	$(BIN)/python -m models.training.reader families $(RUNS) $(MORE)

reference: $(INSTALLED)
	$(BIN)/python -m pipeline.cli.reference > docs/reference.md
	$(BIN)/python -m pipeline.cli.definitions

training: $(TRAINED)
	@echo "Ready to train: see docs/ and models/training."

$(VENV)/pyvenv.cfg:
	$(PYTHON) -c 'import sys; assert sys.version_info >= (3, 11), "matline needs Python 3.11 or newer"'
	$(PYTHON) -m venv $(VENV)

$(INSTALLED): pyproject.toml | $(VENV)/pyvenv.cfg
	$(BIN)/python -m pip install --quiet --editable .
	touch $@

$(TESTED): pyproject.toml | $(VENV)/pyvenv.cfg
	$(BIN)/python -m pip install --quiet --editable '.[test]'
	touch $@ $(INSTALLED)

$(TRAINED): pyproject.toml | $(VENV)/pyvenv.cfg
	$(BIN)/python -m pip install --quiet --editable '.[training,test]'
	touch $@ $(INSTALLED) $(TESTED)

clean:
	rm -rf $(VENV) build *.egg-info .pytest_cache .mypy_cache .ruff_cache .hypothesis
