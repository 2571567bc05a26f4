# make help lists the targets. Every check that guards the repository is in scripts/test.sh.
SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := help

GO ?= go
ARGS ?= demo --once
BENCH ?= .
DATA ?= dev-data
FUZZTIME ?= 3s
LIKE ?=
MUTANTS ?=
export FUZZTIME

.PHONY: help run dev check test anyday hazards mutants soak bench lint fuzz build tools deadcode snapshot snapshot-compare

help: ## list the targets
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "  make %-16s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

run: ## build and run the demo, or another command with ARGS="..."
	$(GO) run ./cmd/rinsate $(ARGS)

dev: ## serve the demo of folder DATA (default dev-data); templates, styles and help are read anew when they change
	$(GO) run -tags dev ./cmd/rinsate dev --data $(DATA)

check: ## format, vet and the quick tests, in less than a minute
	@scripts/check.sh

test: ## set up what is missing, then run every check, as CI does
	@scripts/setup-tests.sh
	@scripts/test.sh

anyday: ## play the command line and the demo as on other days and in other zones; takes minutes
	@scripts/anyday.sh

hazards: ## take each control of docs/hazards.md away and see that its test fails; takes minutes
	$(GO) run ./scripts/hazards

mutants: ## make small changes to the release check and see that a test fails; takes an hour, less with MUTANTS="-every 10"
	$(GO) run ./scripts/mutants $(MUTANTS)

soak: ## try the release check on random histories until stopped, or for SOAKTIME seconds
	@scripts/soak.sh

bench: ## run the benchmarks; narrow with BENCH=Name
	$(GO) test -run '^$$' -bench '$(BENCH)' -benchmem ./...

lint: ## format check, vet, golangci-lint, staticcheck
	@scripts/lint.sh

fuzz: ## run each fuzz target for FUZZTIME (default 3s)
	@scripts/fuzz.sh

build: ## build the static binary bin/rinsate for this machine
	@scripts/build.sh bin/rinsate

tools: ## build the development tools and print their versions
	$(GO) tool gofumpt -version
	$(GO) tool staticcheck -version
	$(GO) tool -modfile=tools.mod golangci-lint version
	$(GO) build -modfile=tools.mod -o /dev/null golang.org/x/tools/cmd/deadcode

deadcode: ## fail on functions that no command reaches, but for those in scripts/deadcode.txt
	@scripts/deadcode.sh

snapshot: ## record what the program answers into TO, asking also what the record LIKE asked
	$(GO) run ./scripts/snapshot record $(if $(LIKE),--like $(LIKE)) $(TO)

snapshot-compare: ## compare the records FROM and TO; renamed words are in scripts/snapshot/renames.txt
	$(GO) run ./scripts/snapshot compare $(FROM) $(TO)
