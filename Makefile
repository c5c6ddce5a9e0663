# Each goal sets up .venv first if need be. The work is in tools/setup.py, which also runs
# without make: `py tools/setup.py demo` on Windows.
PYTHON ?= python3
GOALS := setup demo test check proof bench docs pictures clean

.PHONY: help $(GOALS)

help:
	@$(PYTHON) tools/setup.py --help

$(GOALS):
	@$(PYTHON) tools/setup.py $@
