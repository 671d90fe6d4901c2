# Everything a checkout is built, tried and tested with. 'make help' lists it.

SHELL := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c
.DEFAULT_GOAL := help
.PHONY: help deps build demo test test-windows release race fuzz soak study bench lint

VERSION := $(shell git describe --tags --always --dirty 2>/dev/null || echo unversioned)
STATICCHECK := honnef.co/go/tools/cmd/staticcheck@v0.8.2
# Packages that start goroutines, or are driven by one.
CONCURRENT := ./capture/record ./capture/device ./capture/soundcard ./fit/joint ./cmd/coilsweep/internal/web/site
# Of them the tests in which goroutines meet; all of them: make race.
RACES := TestRun|TestEngine|TestRing|TestAnalyse|TestMonteCarlo|TestShared|TestEvents
TESTED = go run .ci/tested.go -skips=$(SKIPS)
# What gives way to others may take long.
ONCE := -vet=off -count=1 -json -ldflags=-w -timeout 30m
GO_FOLDERS := cmd excite capture fit report
# SKIPS=forbid makes a skipped test a failure; FUZZCOUNT is for each fuzz target.
SKIPS ?= allow
FUZZCOUNT ?= 5000x

help: ## list the targets
	@grep -E '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/^([a-z-]+):.*## /make \1\t/' | expand -t 20

deps: ## install what is missing of the system's packages, to build and to test
	@.ci/deps build test

build: ## build bin/coilsweep
	@.ci/deps build
	go build -buildvcs=false -ldflags '-X coilsweep/cmd/coilsweep/internal/cli.version=$(VERSION)' -o bin/coilsweep ./cmd/coilsweep

# The coil of the demo is invented: see capture/virtual/default.toml.
DEMO := bin/coilsweep measure demo/coil --bench virtual --reference current --sense-r "10 0.1%" \
	--fixture-c "65p 5%" --fixture-r "1M 1%"

demo: build ## measure an invented coil on the simulated bench
	rm -rf demo && mkdir demo
	bin/coilsweep new demo/coil --name "Demo coil A (invented)" --dcr "7.85k@20C 0.5%"
	sed 's/^# celsius_at_takes.*/celsius_at_takes = 20.0/' demo/coil/coil.toml >demo/edited && mv demo/edited demo/coil/coil.toml
	$(DEMO) --take bare
	$(DEMO) --take c220 --added-c "220p 1%"
	$(DEMO) --take c470 --added-c "470p 1%"
	bin/coilsweep fit demo/coil
	bin/coilsweep report demo/coil
	@echo
	@echo "The same in a browser, on the simulated bench, with this coil and your own:"
	@echo "  bin/coilsweep serve demo --bench virtual"
	@echo "and open the address that it prints."

test: build ## vet, tests (fuzz targets over their kept corpus), race detector
	@.ci/deps test
	@echo "== format"
	@unformatted=$$(gofmt -l $(GO_FOLDERS)); if [ -n "$$unformatted" ]; then echo "run gofmt on:" $$unformatted; exit 1; fi
	@echo "== tests"
	@# Vetted they are by 'go vet': -vet=off. What computes gives way to pages that somebody waits for.
	@export GOGC=$${GOGC:-200}; status=0; \
	others=$$(go list ./... | grep -vE '/(fit/joint|fit/evaluation|cmd/coilsweep|capture/soundcard(/.*)?)$$' | tr '\n' ' '); \
	$(TESTED) "go test $(ONCE) -parallel 4 -skip '^TestSound' ./cmd/coilsweep" \
		"nice -n 10 go test $(ONCE) -parallel 4 ./fit/joint $$others" || status=1; \
	echo "== sound, which takes its time and leaves the machine idle; meanwhile what only computes, vet and the"; \
	echo "   race detector, which give way to it: a busy machine tears holes into sound"; \
	$(TESTED) "go test $(ONCE) ./capture/soundcard/..." \
		"go test $(ONCE) -parallel 8 -run '^TestSound' ./cmd/coilsweep" \
		"nice -n 19 go test $(ONCE) -parallel 4 ./fit/evaluation" \
		"nice -n 19 go vet ./... && nice -n 19 go vet -tags wine ./cmd/coilsweep && \
			CGO_ENABLED=0 GOOS=windows nice -n 19 go vet -gcflags='-N -l' ./... && \
			CGO_ENABLED=0 GOOS=darwin nice -n 19 go vet -gcflags='-N -l' ./... && \
			nice -n 19 go test $(ONCE) -race -p 1 -run '$(RACES)' $(CONCURRENT)" || status=1; \
	exit $$status

test-windows: ## the tests without sound and a job with sound, as Windows programs under Wine
	@.ci/windows build '$(RUN)'

release: ## what is published, in build/release: the same files for the same commit
	@.ci/release build

race: build ## the race detector over all but the long tests
	@.ci/deps test
	go test -race -short -p 1 $(CONCURRENT) ./report/... ./fit/response ./capture/align
	go test -race -run 'TestServe|TestScripts/interrupt$$' ./cmd/coilsweep

fuzz: build ## look for new inputs with every fuzz target: minutes
	.ci/fuzz $(FUZZCOUNT)

soak: build ## 500 takes through the bench page: no take lost, no memory lost
	COILSWEEP_SOAK=500 go test ./cmd/coilsweep -run '^TestServeSoak$$' -v -timeout 1h

# Another FIRST draws other benches: several machines can share a study.
SEEDS ?= 300
FIRST ?= 0
study: build ## how often U95 holds the truth, on SEEDS benches each from FIRST on: an hour or more
	COILSWEEP_SEEDS=$(SEEDS) COILSWEEP_FIRST_SEED=$(FIRST) go test ./fit/joint -timeout 12h -v \
		-run 'Coverage|Honesty|Efficiency|SoundCards|Differences|Prediction'

bench: build ## benchmarks, beside the same work in NumPy and SciPy
	@.ci/deps test
	go test -run '^$$' -bench . -benchmem ./...
	@if [ -x testdata/scipy/bench.sh ]; then testdata/scipy/bench.sh; fi

lint: ## gofmt, vet, staticcheck
	@.ci/deps build
	@unformatted=$$(gofmt -l $(GO_FOLDERS)); if [ -n "$$unformatted" ]; then echo "run gofmt on:" $$unformatted; exit 1; fi
	go vet ./...
	go run $(STATICCHECK) ./...
