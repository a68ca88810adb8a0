# Shorthands; each line is an ordinary go command that works without make.

.PHONY: test slow bench fuzz lint vuln demo build

test: ## what the README says: fast, about a minute or two
	go test -timeout 20m ./...

slow: ## coverage of every interval by simulation, up to 30 minutes on two cores
	go test -tags slow -run Coverage -timeout 60m -v ./compare

bench: ## figures for docs/performance.md
	go test -run '^$$' -bench . -benchmem ./...

FUZZTIME ?= 20s
fuzz: ## every fuzz target for FUZZTIME
	@for package in $$(go list ./...); do \
	  for target in $$(go test -list '^Fuzz' $$package | grep '^Fuzz'); do \
	    echo "$$package $$target"; \
	    go test -run '^$$' -fuzz "^$$target$$" -fuzztime $(FUZZTIME) $$package || exit 1; \
	  done; \
	done

lint: ## formatting, vet, staticcheck
	test -z "$$(gofmt -l $$(git ls-files '*.go'))"
	go vet ./...
	go vet -tags slow ./...
	go tool -modfile=tools/go.mod staticcheck ./...

vuln: ## known vulnerabilities; needs the vulnerability database (docs/dependencies.md says how offline)
	go tool -modfile=tools/go.mod govulncheck $(VULNFLAGS) ./...

demo:
	go run ./cmd/fairpull demo

build: ## one static binary, the same bytes wherever it is built
	CGO_ENABLED=0 go build -trimpath -buildvcs=false -ldflags "-s -w" -o bin/fairpull ./cmd/fairpull
