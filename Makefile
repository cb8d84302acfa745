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

bench: environment ## 200,000 items: prints the table of times and query counts
	.venv/bin/python manage.py bench

lock: ## after a change of dependencies in pyproject.toml; needs uv
	uv pip compile --universal --generate-hashes --no-annotate --no-header --python-version 3.11 --upgrade \
		pyproject.toml --all-extras --group dev -o requirements.lock
