# The two commands that matter: `make demo` and `make test`.
.PHONY: demo test lint bench lock environment

environment:
	@.ci/environment

demo: ## a service with invented gear, on this machine alone
	@.ci/system run || echo "Going on without: PDF pages will say what they need."
	@.ci/environment
	.venv/bin/python manage.py demo

test: ## the whole suite, on SQLite and on a throw-away PostgreSQL
	.ci/test

lint: ## style, types, layers, migrations, deployment checks
	.ci/lint

bench: environment ## databases of their own, 200,000 items and 3,500 for phones (and a phone's browser): times, sizes, queries
	@for job in bench bench_phone; do \
		folder=$$(mktemp -d) && export DATA_DIR=$$folder && .venv/bin/python manage.py migrate -v0 && \
			.venv/bin/python manage.py $$job; status=$$?; rm -rf "$$folder"; [ $$status -eq 0 ] || exit $$status; \
	done

lock: ## after a change of dependencies in pyproject.toml; needs uv
	uv pip compile --universal --generate-hashes --no-annotate --no-header --python-version 3.11 --upgrade \
		pyproject.toml --all-extras --group dev -o requirements.lock
