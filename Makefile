# The few doors of this project. `make help` lists them.
SHELL := /bin/sh
GO ?= go
OUT ?= demo-out
CGO_ENABLED ?= $(shell .ci/cgo)
export CGO_ENABLED
STATICCHECK := honnef.co/go/tools/cmd/staticcheck@v0.8.2

.DEFAULT_GOAL := help
.PHONY: help demo build test setup-build setup-test check race fuzz bench calls golden voice clean

help: ## list these doors
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "make %-12s %s\n", $$1, $$2 }' Makefile

demo: setup-build ## install what is missing, build, drive twelve laps; leaves debrief.html and cues.wav in demo-out
	@$(MAKE) --no-print-directory CGO_ENABLED=$$(.ci/cgo) build
	bin/earshot demo --out $(OUT)

build: ## write bin/earshot and its helper programs
	@[ "$(CGO_ENABLED)" = 1 ] || echo "build: without cgo: sound by the sound server only, no global keys;" \
		"'make setup-build' installs what is missing"
	$(GO) build -trimpath -o bin/ ./cmd/...

test: setup-build setup-test ## install what is missing, run every test, with and without cgo
	@$(MAKE) --no-print-directory CGO_ENABLED=$$(.ci/cgo) test-only

.PHONY: test-only
test-only:
	$(GO) vet ./...
	CGO_ENABLED=0 $(GO) build ./...
	@GO=$(GO) $(GO) run .ci/report.go -timeout 30m ./...

setup-build:
	@.ci/setup build

setup-test:
	@.ci/setup test

check: ## gofmt, staticcheck, go.mod in order
	@bad=$$(gofmt -l .); [ -z "$$bad" ] || { echo "not gofmt-ed: $$bad"; exit 1; }
	$(GO) mod tidy -diff
	CGO_ENABLED=0 $(GO) run $(STATICCHECK) ./...

race: ## every test under the race detector
	$(GO) test -race ./...

fuzz: ## ten seconds of each fuzz target
	@for p in $$($(GO) list ./...); do \
		for f in $$($(GO) test -list '^Fuzz' $$p | grep '^Fuzz'); do \
			echo "$$p $$f"; $(GO) test -run '^$$' -fuzz "^$$f$$" -fuzztime 10s $$p || exit 1; \
		done; \
	done

bench: ## all benchmarks
	$(GO) test -run '^$$' -bench . -benchmem ./...

calls: ## run all drives of the ledger; print what was told, missed and told wrongly, with notes
	$(GO) test ./assistant/ledger -run TestCalls -v -every 1 -timeout 30m

golden: ## rewrite stories and golden files; read the diff before you commit it
	$(GO) test $$(grep -rl 'flag.Bool("update"' --include='*_test.go' . | xargs -n1 dirname | sort -u) -update
	EARSHOT_UPDATE=1 $(GO) test ./cmd/earshot -run 'TestScripts|TestChannelsPage'

voice: ## make the voice pack again (needs flite and sox)
	$(MAKE) -C configs/voices

clean: ## remove what was built
	rm -rf bin $(OUT)
