# Everything a newcomer needs: `make demo` shows the service, `make test` passes its tests.
# Paths are relative and programs started as modules, so that the project may lie under any name and be moved.

.DEFAULT_GOAL := help
.NOTPARALLEL:

RUN = .venv/bin/python -m
RUN_STAMP := .venv/.run-$(shell cksum < requirements.txt | tr ' ' -)
TEST_STAMP := .venv/.test-$(shell cksum < requirements-dev.txt | tr ' ' -)
PIP_INSTALL = $(RUN) pip install --quiet --disable-pip-version-check --no-input --require-hashes
COMPILE = uv pip compile pyproject.toml --quiet --universal --generate-hashes --no-emit-index-url --no-header --no-annotate --python-version 3.11

# What `check` and the type checker read the settings with: as in production, with the servers of the tests.
AS_IN_PRODUCTION = set -f; servers="$$($(RUN) program.config.servers start --home .local/test --not-durable)" || exit 1; \
	env $$servers DJANGO_SECRET_KEY="$$($(RUN) program.config.secret)" DJANGO_ALLOWED_HOSTS=circuit.example.org

.PHONY: help
help: ## these lines
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "make %-8s %s\n", $$1, $$2 }' Makefile

.PHONY: demo
demo: $(RUN_STAMP) ## the service with a believable building in it, at http://localhost:8000 (PORT=… for another)
	@exec $(RUN) program.config.demo

.PHONY: test
test: $(TEST_STAMP) lint ## all checks and tests, fastest first
	@echo '== tests'
	@$(RUN) pytest -n 2 --ignore=tests/browser --ignore=tests/benchmarks --ignore=tests/nightly tests
	@echo '== tests in a browser'
	@$(RUN) tests.chromium
	@$(RUN) pytest tests/browser

.PHONY: lint
lint: $(TEST_STAMP) ## the checks alone: form, habits, imports, types, migrations, settings
	@echo '== form'
	@$(RUN) ruff format --check .
	@echo '== habits'
	@$(RUN) ruff check .
	@echo '== who imports whom'
	@.venv/bin/python -c 'from importlinter.cli import lint_imports_command; lint_imports_command()'
	@echo '== types'
	@$(AS_IN_PRODUCTION) $(RUN) mypy
	@echo '== migrations'
	@$(AS_IN_PRODUCTION) .venv/bin/python manage.py makemigrations --check --dry-run
	@echo '== settings for production'
	@$(AS_IN_PRODUCTION) .venv/bin/python manage.py check --deploy --fail-level WARNING

.PHONY: nightly
nightly: $(TEST_STAMP) ## the long proofs: workers killed at every step (minutes)
	@$(RUN) pytest tests/nightly -s

.PHONY: bench
bench: $(TEST_STAMP) ## the figures: how fast, how good
	@$(RUN) pytest tests/benchmarks -s

.PHONY: format
format: $(TEST_STAMP) ## put the code into its form
	@$(RUN) ruff check --fix --exit-zero --quiet .
	@$(RUN) ruff format .

.PHONY: stop
stop: ## stop the demo and all servers; the data stay
	@if test -x .venv/bin/python; then $(RUN) program.config.demo --stop; \
		$(RUN) program.config.servers stop --home .local/test; fi

.PHONY: clean
clean: stop ## stop everything, then remove the demo's data, the environment and what tools left behind
	@if test -x .venv/bin/python; then $(RUN) program.config.servers remove --home .local/servers; \
		$(RUN) program.config.servers remove --home .local/test; fi
	@rm -rf .local .venv .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
	@find . -name __pycache__ -type d -prune -exec rm -rf {} +

.PHONY: venv
venv: $(TEST_STAMP) ## the environment with everything, for an editor

$(RUN_STAMP): requirements.txt
	@$(MAKE) --no-print-directory environment
	@echo 'Installing what the service needs.'
	@$(PIP_INSTALL) -r requirements.txt
	@touch $@

$(TEST_STAMP): requirements-dev.txt
	@$(MAKE) --no-print-directory environment
	@echo 'Installing what the service and its tests need.'
	@$(PIP_INSTALL) -r requirements-dev.txt
	@touch $@

# An environment that was cut short, or came from another machine, has no working pip: it is made anew.
.PHONY: environment
environment:
	@if .venv/bin/python -m pip --version > /dev/null 2>&1; then exit 0; fi; \
	for python in python3.11 python3 python3.12 python3.13; do \
		if $$python -c 'import sys; sys.exit(sys.version_info < (3, 11))' > /dev/null 2>&1; then found=$$python; break; fi; \
	done; \
	if test -z "$$found"; then \
		echo 'Python 3.11 or later is needed and was not found: install it (Debian: apt-get install python3 python3-venv).' >&2; exit 1; \
	fi; \
	rm -rf .venv; \
	if ! $$found -m venv .venv > .venv.log 2>&1; then \
		cat .venv.log >&2; rm -rf .venv .venv.log; \
		echo "$$found cannot make an environment: install its venv module (Debian: apt-get install python3-venv)." >&2; exit 1; \
	fi; \
	rm -f .venv.log

.PHONY: lock
lock: ## write both lists of exact versions anew from pyproject.toml (needs uv)
	@command -v uv > /dev/null || { echo 'uv is needed to write the lists: python3 -m pip install uv' >&2; exit 1; }
	@$(COMPILE) --output-file requirements.txt > /dev/null
	@$(COMPILE) --group dev --output-file requirements-dev.txt > /dev/null
