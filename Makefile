# Two commands do everything: `make demo` and `make test`. `make help` lists the others.
.DEFAULT_GOAL := help
.SHELLFLAGS := -eu -c
.PHONY: help env demo test test-all check bench load soak fuzz lock messages pango browser
MAKEFLAGS += --no-print-directory

BIN := .venv/bin
INSTALLED := .venv/.installed
PACKAGES := sh portal/deploy/system-packages.sh
# BROWSER=no leaves out the tests that need Chromium.
BROWSER := yes
# Left out of `make test`: more of what shorter tests show. There, too, tests by chance try less (tests/chance.py).
BUT := and not long
# The files of tests that run apart: to collect the others again for them takes half a minute.
APART = $$(grep -lrE "mark\.(faults|clock|alone)" --include="test_*.py" tests | sort)
# How many invented samples and visits `make bench` scores.
SAMPLES := 1000000
VISITS := 5000
# With how many groups `make bench` measures pages, visits and sheets; 1,000 need 20 GB and most of an hour.
BENCH_GROUPS := 10,100
# How many alerts `make soak` owes, at least.
ALERTS := 1000
# How many inputs `make fuzz` sends to forms and addresses, and where its chance begins.
INPUTS := 10000
SEED := 1
# Who plays how long on how large a portal in `make load`.
PEOPLE := 200
MINUTES := 5
GROUPS_GROWN := 50
# UPGRADE=--upgrade lets `make lock` take newer releases.
UPGRADE :=
export UV_PYTHON_DOWNLOADS := never
export PIP_DISABLE_PIP_VERSION_CHECK := 1
export PIP_ROOT_USER_ACTION := ignore
# Every Python that the suite or the demo starts reads what the first has compiled; a machine may have said no to that.
export PYTHONDONTWRITEBYTECODE :=

help: ## say what each command does
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/^([a-z-]+):[^#]*## */  make \1\t/' | expand -t 16

env: pango $(INSTALLED) ## set up Python and its packages in .venv

pango:
	@$(PACKAGES) libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core || echo "Going on; PDF reports need Pango."

$(INSTALLED): requirements-dev.txt
	@python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "Python 3.11 or newer is needed." >&2; exit 1; }
	@python3 -c 'import ensurepip, venv' 2>/dev/null || $(PACKAGES) python3-venv
	@echo "Setting up .venv ..."
	@$(BIN)/python -c '' 2>/dev/null || python3 -m venv --clear .venv
	@awk '/^uv==/ {found = 1} found {print} found && !/\\$$/ {exit}' requirements-dev.txt > .venv/uv.txt
	@$(BIN)/python -m pip install -qq --require-hashes -r .venv/uv.txt \
	    && $(BIN)/uv pip install --quiet --python $(BIN)/python --require-hashes -r requirements-dev.txt \
	    || { echo "uv did not manage; trying pip ..."; $(BIN)/python -m pip install -qq --require-hashes -r requirements-dev.txt; }
	@touch $(INSTALLED)

demo: env ## run the whole portal with invented data; Ctrl-C stops it (PORT=8001 for another port)
	@exec $(BIN)/python -m portal.embedded.demo

browser:
	@if [ $(BROWSER) = yes ]; then \
	    $(PACKAGES) poppler-utils gettext chromium-headless-shell || $(PACKAGES) poppler-utils gettext chromium || { \
	        echo "The browser tests need these. Install them, or leave the tests out: make test BROWSER=no" >&2; exit 1; }; \
	else $(PACKAGES) poppler-utils gettext || echo "Going on; tests of PDF pages and of languages need these."; fi

# Three beside each other on two processors, because tests in the browser wait half of their time. What kills processes
# waits more than it works, but nothing else runs beside it, because its limits want a machine that is not busy.
# What measures time, or takes a shared server away, runs by itself.
test: env browser ## run the suite
	@status=0; \
	if [ $(BROWSER) = yes ]; then but="$(BUT)"; else but="and not browser $(BUT)"; fi; \
	$(BIN)/python -m pytest -n 3 --dist worksteal -m "not faults and not clock $$but" || status=$$?; \
	$(BIN)/python -m pytest -n 3 --dist worksteal -m "faults and not alone $$but" $(APART) || status=$$?; \
	$(BIN)/python -m pytest -m "(clock or alone) $$but" $(APART) || status=$$?; \
	[ $(BROWSER) = yes ] || echo "The browser tests were left out (BROWSER=$(BROWSER))."; \
	exit $$status

test-all: ## run the suite with its long tests as well, most of an hour on two processors
	@CHANCE=all $(MAKE) test BUT=

check: env ## lint, types, floors, migrations, deployment settings, compose file
	@$(BIN)/ruff check --quiet .
	@$(BIN)/ruff format --quiet --check .
	@$(BIN)/mypy .
	@$(BIN)/lint-imports
	@$(BIN)/python manage.py makemigrations --check --dry-run
	@PRODUCTION=1 SECRET_KEY=$$($(BIN)/python -c 'import secrets; print(secrets.token_urlsafe(60))') \
	    ALLOWED_HOSTS=rivers.example BASE_URL=https://rivers.example PROXIES=1 \
	    DATABASE_URL=postgres://rifflebook_app@localhost/rifflebook \
	    $(BIN)/python manage.py check --deploy --fail-level WARNING
	@$(BIN)/check-jsonschema --builtin-schema vendor.compose-spec docker-compose.yml

# One thread, so that the ratios do not hang on how many processors are idle.
bench: env ## the portal against the least that could do: scoring, alerts, reports, pages, visits, sheets (BENCH_GROUPS=10,100,1000)
	@OPENBLAS_NUM_THREADS=1 $(BIN)/python -m tests.benchmarks.bench_scoring $(SAMPLES)
	@OPENBLAS_NUM_THREADS=1 VISITS=$(VISITS) $(BIN)/python -m pytest -qs --no-header --no-summary \
	    -o python_files="bench_rescoring.py bench_latency.py bench_report.py bench_trail.py bench_wall.py" -o python_functions=bench_ tests/benchmarks
	@OPENBLAS_NUM_THREADS=1 BENCH_GROUPS=$(BENCH_GROUPS) $(BIN)/python -m tests.benchmarks.load.run

# Locust is an extra of its own: neither suite nor production needs it.
load: env ## a Sunday evening: many people at once on the portal as deployed (PEOPLE=200, MINUTES=5, GROUPS_GROWN=50)
	@$(BIN)/uv pip install --quiet --python $(BIN)/python --require-hashes -r requirements-load.txt
	@$(BIN)/python -m tests.load.sunday $(PEOPLE) $(MINUTES) $(GROUPS_GROWN)

soak: env ## alerts owed while everything is killed, flushed, restarted or made to misbehave (ALERTS=1000)
	@ALERTS=$(ALERTS) $(BIN)/python -m pytest -qs --no-header --no-summary -o python_functions=soak_ \
	    tests/faults/test_soak.py

fuzz: env ## junk to every form, upload and address, and to every operation of the interface as each role (INPUTS=10000, SEED=1)
	@INPUTS=$(INPUTS) SEED=$(SEED) $(BIN)/python -m pytest -qs --no-header -o python_functions=fuzz_ \
	    tests/access/fuzzing tests/surveys/api/test_schema_calls.py

messages: env ## collect the texts to be translated, and compile the translations
	@$(PACKAGES) gettext
	@$(BIN)/python manage.py collect_texts
	@$(BIN)/python manage.py makemessages --all --no-location --no-wrap --no-obsolete
	@# The time of the collecting would change the file where no text has changed.
	@sed -i '/^"POT-Creation-Date/d' portal/locale/*/LC_MESSAGES/django.po
	@$(BIN)/python manage.py compilemessages

COMPILE = $(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes \
    --custom-compile-command "make lock" $(UPGRADE) pyproject.toml

lock: env ## write requirements*.txt anew from pyproject.toml (UPGRADE=--upgrade for newer releases)
	@$(COMPILE) --extra dev --extra tracing --output-file requirements-dev.txt
	@$(COMPILE) --constraint requirements-dev.txt --output-file requirements.txt
	@$(COMPILE) --constraint requirements-dev.txt --extra tracing --output-file requirements-tracing.txt
	@$(COMPILE) --constraint requirements-dev.txt --extra load --output-file requirements-load.txt
