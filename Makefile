# make demo: build the environment, prove the demo project, print the verdict.
# make test: build what is missing and run the tests.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
UV := $(shell command -v uv 2>/dev/null)

ifdef UV
MAKE_VENV = [ -x $(BIN)/python ] || uv venv --quiet --python $(PYTHON) $(VENV)
INSTALL = uv pip install --quiet --python $(BIN)/python --constraint requirements.lock
else
MAKE_VENV = [ -x $(BIN)/python ] || $(PYTHON) -m venv $(VENV)
INSTALL = $(BIN)/python -m pip install --quiet --no-compile --disable-pip-version-check --constraint requirements.lock
endif

.PHONY: demo test test-slow bench lint lock docs clean

demo: $(VENV)/core.done
	@$(BIN)/trivet prove examples/larkpane || [ $$? -eq 1 ]

test: $(VENV)/dev.done
	$(BIN)/python -m pytest -n 2 --dist worksteal -q

test-slow: $(VENV)/dev.done
	$(BIN)/python -m pytest -n 2 --dist worksteal -q -m slow

bench: $(VENV)/dev.done
	$(BIN)/python -m benchmarks

# Measures every check of the simulator and writes docs/simulator.md; writes docs/metrics.md
# and the table of docs/thresholds.md.
docs: $(VENV)/dev.done
	$(BIN)/python -m tests.closure.checks
	$(BIN)/python -c "from trivet.scoring.registry import metrics_page as m; print(m(), end='')" \
	  > docs/metrics.md
	$(BIN)/python -m tests.house.test_thresholds

lint: $(VENV)/dev.done
	$(BIN)/ruff check . && $(BIN)/ruff format --check . && $(BIN)/mypy && $(BIN)/lint-imports

# Needs uv; writes names and versions, no addresses.
lock:
	uv pip compile pyproject.toml --all-extras --universal --no-header --no-annotate \
	  --no-emit-index-url --quiet --output-file requirements.lock

clean:
	rm -rf $(VENV) examples/*/results

$(VENV)/core.done: pyproject.toml requirements.lock
	@echo "setting up: environment"
	@$(MAKE_VENV)
	@$(INSTALL) --editable .
	@echo "setting up: compiling the kernels, once"
	@$(BIN)/python -m trivet.warm
	@touch $@

$(VENV)/dev.done: pyproject.toml requirements.lock
	@echo "setting up: environment with test tools"
	@$(MAKE_VENV)
	@$(INSTALL) --editable '.[dev]'
	@echo "setting up: compiling the kernels, once"
	@$(BIN)/python -m trivet.warm
	@touch $@
