# Narrows: build, tests, installation.
#
#   make              build/libnarrows.a and build/narrows, nothing else
#   make demo         install what is missing (as root, Debian), build, plan the demo
#   make test         every test with the address and undefined-behaviour sanitizers
#   make test-quick   the same tests without sanitizers
#   make check-plain check-arm64  the kernels as other processors get them
#   make bench        how fast, side by side with the usual ways (docs/performance.md)
#   make bench-quick  the same with fewer repeats, about a minute and a half
#   make test-browser the reports in a real browser: wants chromium, node and npm
#   make validate     the tables and plots of docs/trends.md again: minutes of runs
#   make install      PREFIX=/usr/local DESTDIR=
#   make check-symbols check-headers check-program check-rows format-check tidy
#   make clean        V=1 shows the commands, WERROR=1 makes warnings errors

CC ?= gcc
ifeq ($(origin CC),default)
CC := gcc
endif
AR ?= ar
PKG_CONFIG ?= pkg-config
PREFIX ?= /usr/local
DESTDIR ?=
V ?= 0
SAN ?= 0
WERROR ?= 0
Q := $(if $(filter 1,$(V)),,@)
say = @$(if $(filter 1,$(V)),:,echo "  $(1)")

VERSION := $(shell sed -n 's/^#define NRW_VERSION "\(.*\)"/\1/p' sim/version.h)

# --- libraries ------------------------------------------------------------------

LIBRARIES := gsl yaml-0.1 jansson hdf5 libpng zlib nettle
DEBIAN_PACKAGES := gcc libc6-dev pkg-config libgsl-dev libyaml-dev libjansson-dev libhdf5-dev \
                   libpng-dev zlib1g-dev nettle-dev
DEBIAN_TEST_PACKAGES := libcriterion-dev jq

# The libraries' own headers are not ours to warn about.
LIBRARY_CFLAGS := $(patsubst -I%,-isystem %,$(shell $(PKG_CONFIG) --cflags $(LIBRARIES) 2>/dev/null))
LIBRARY_LIBS := $(shell $(PKG_CONFIG) --libs $(LIBRARIES) 2>/dev/null) -lm
TEST_LIBS = $(shell $(PKG_CONFIG) --libs criterion 2>/dev/null || echo -lcriterion)

# --- flags ----------------------------------------------------------------------

WARNINGS := -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wstrict-prototypes \
            -Wmissing-prototypes -Wvla
# No -ffast-math and no contraction: the same bits for any number of threads,
# and NaN means what it says (docs/decisions/0005-floating-point.md).
MATHS := -fno-math-errno -fno-trapping-math -ffp-contract=off

ifeq ($(SAN),1)
B := build/san
OPTIMISE := -O1 -g -fno-omit-frame-pointer -fsanitize=address,undefined -fno-sanitize-recover=all
WERROR := 1
else
B := build
OPTIMISE := -O3 -g
endif

CFLAGS ?=
LDFLAGS ?=
ALL_CFLAGS := -std=c17 $(OPTIMISE) $(MATHS) $(WARNINGS) $(if $(filter 1,$(WERROR)),-Werror) \
              -D_POSIX_C_SOURCE=200809L $(if $(filter plain,$(KERNELS)),-DNRW_KERNELS_PLAIN) \
              -Isim -Iplanner $(LIBRARY_CFLAGS) $(CFLAGS)
COMPILE = $(CC) $(ALL_CFLAGS) -MMD -MP

# --- files ----------------------------------------------------------------------

KERNEL_SOURCES := $(wildcard sim/*_kernel.c)
PROGRAM_SOURCES := $(wildcard planner/cmd_*.c) $(addprefix planner/,main.c command.c interrupt.c \
                   job.c progress.c)
LIBRARY_SOURCES := $(filter-out $(KERNEL_SOURCES) $(PROGRAM_SOURCES),$(wildcard sim/*.c planner/*.c))
HEADERS := $(wildcard sim/*.h planner/*.h)

# Kernels are compiled once per instruction set; sim/kernel.c chooses at start.
# KERNELS=plain takes what other machines get here too.
MACHINE := $(shell $(CC) -dumpmachine 2>/dev/null)
KERNELS ?= $(if $(filter x86_64%,$(MACHINE)),v2 v3 v4,plain)
KERNEL_LEVELS := $(KERNELS)
KERNEL_FLAGS_plain :=
KERNEL_FLAGS_v2 := -march=x86-64-v2
KERNEL_FLAGS_v3 := -march=x86-64-v3
KERNEL_FLAGS_v4 := -march=x86-64-v4 -mprefer-vector-width=512

# Files of the report, embedded as bytes.
ASSETS := $(addprefix planner/,report.css report_picture.css report.js)
ASSET_OBJECTS := $(if $(ASSETS),$(B)/planner/report_assets.o)

KERNEL_OBJECTS := $(foreach level,$(KERNEL_LEVELS),$(KERNEL_SOURCES:%.c=$(B)/%_$(level).o))
LIBRARY_OBJECTS := $(LIBRARY_SOURCES:%.c=$(B)/%.o) $(KERNEL_OBJECTS) $(ASSET_OBJECTS)
PROGRAM_OBJECTS := $(PROGRAM_SOURCES:%.c=$(B)/%.o)

TEST_SOURCES := $(wildcard tests/*_test.c tests/external/*_test.c)
TEST_SUPPORT := $(filter-out %_test.c,$(wildcard tests/*.c))
TEST_PROGRAMS := $(TEST_SOURCES:%.c=$(B)/%)
TEST_SUPPORT_OBJECTS := $(TEST_SUPPORT:%.c=$(B)/%.o)

# Each tests/validate/*_validate.c is a program; the other files there are common to them.
VALIDATE_SOURCES := $(wildcard tests/validate/*_validate.c)
VALIDATE_SUPPORT := $(filter-out $(VALIDATE_SOURCES),$(wildcard tests/validate/*.c))
VALIDATE_PROGRAMS := $(VALIDATE_SOURCES:%.c=$(B)/%)

# --- program and library --------------------------------------------------------

.DEFAULT_GOAL := all
.PHONY: all demo dependencies test test-quick test-browser test-programs run-tests bench \
        bench-quick check-plain check-arm64 run-kernel-tests install uninstall \
        validate check check-symbols check-headers check-program check-rows format format-check tidy clean
.SECONDARY:
.DELETE_ON_ERROR:

all: build/libnarrows.a build/narrows

$(B)/libnarrows.a: $(LIBRARY_OBJECTS)
	$(call say,AR $@)
	$(Q)rm -f $@ && $(AR) rcs $@ $^

$(B)/narrows: $(PROGRAM_OBJECTS) $(B)/libnarrows.a
	$(call say,LD $@)
	$(Q)$(CC) $(OPTIMISE) -fopenmp $(LDFLAGS) -o $@ $(PROGRAM_OBJECTS) $(B)/libnarrows.a $(LIBRARY_LIBS)

need_libraries = $(if $(LIBRARY_CFLAGS),,$(error Libraries are missing: run 'make dependencies' \
                 as root, or install $(LIBRARIES) and pkg-config))

# gcc 12 for arm64 fails at loops with fmax (internal error in vect_transform_reduction).
NO_LOOPS := $(if $(filter aarch64%,$(MACHINE)),-fno-tree-vectorize)

$(B)/%.o: %.c Makefile
	$(need_libraries)
	$(call say,CC $<)
	@mkdir -p $(@D)
	$(Q)$(COMPILE) $(NO_LOOPS) -fopenmp -c -o $@ $<

define kernel_rule
$(B)/%_kernel_$(1).o: %_kernel.c Makefile
	$$(need_libraries)
	$$(call say,CC $$< ($(1)))
	@mkdir -p $$(@D)
	$$(Q)$$(COMPILE) -fopenmp-simd $$(KERNEL_FLAGS_$(1)) -DNRW_KERNEL_SUFFIX=_$(1) -c -o $$@ $$<
endef
$(foreach level,$(sort $(KERNEL_LEVELS) plain),$(eval $(call kernel_rule,$(level))))

$(B)/planner/report_assets.c: $(ASSETS) Makefile
	@mkdir -p $(@D)
	$(Q){ echo '#include "report_assets.h"'; \
	for file in report.css report_picture.css report.js; do \
	    echo "const unsigned char nrw_$$(echo $$file | tr . _)[] = {"; \
	    od -An -v -tx1 planner/$$file | sed 's/ \([0-9a-f][0-9a-f]\)/0x\1,/g'; echo '0};'; \
	done; } > $@

$(B)/planner/report_assets.o: $(B)/planner/report_assets.c
	$(call say,CC $<)
	$(Q)$(COMPILE) -c -o $@ $<

# --- dependencies and the demo --------------------------------------------------

# $(call install_missing,packages,condition that nothing is missing)
define install_missing
	@if ! { $(2); } >/dev/null 2>&1; then \
	    if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	        apt-get update -q && \
	        DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends $(1); \
	    else \
	        echo "Missing libraries. As root: apt-get install -y $(1)" >&2; exit 1; \
	    fi; \
	fi
endef

dependencies:
	$(call install_missing,$(DEBIAN_PACKAGES),command -v $(CC) $(PKG_CONFIG) && $(PKG_CONFIG) --exists $(LIBRARIES))

demo: dependencies
	@$(MAKE) --no-print-directory all
	build/narrows plan scenarios/straight-gate.yaml --out build/demo --force; status=$$?; \
	echo; echo "The report lies in $(CURDIR)/build/demo/report.html: open it in a browser."; \
	exit $$status

# --- tests ----------------------------------------------------------------------

test-dependencies: dependencies
	$(call install_missing,$(DEBIAN_TEST_PACKAGES),command -v jq && echo '#include <criterion/criterion.h>' | $(CC) -E -)

test: test-dependencies
	@$(MAKE) --no-print-directory WERROR=1 all check
	@$(MAKE) --no-print-directory SAN=1 run-tests

test-quick: test-dependencies
	@$(MAKE) --no-print-directory run-tests

# The reports in Chromium. The packages come from the registry, pinned by their hashes;
# no browser is downloaded.
BROWSER_PACKAGES := tests/browser/node_modules/.package-lock.json
$(BROWSER_PACKAGES): tests/browser/package-lock.json
	cd tests/browser && npm ci --ignore-scripts --no-audit --no-fund

test-browser: all $(BROWSER_PACKAGES)
	@NARROWS=$(CURDIR)/build/narrows SCRIPTS=tests/browser/report_test.sh tests/run build

test-programs: $(TEST_PROGRAMS)

run-tests: $(TEST_PROGRAMS) $(B)/narrows
	@NARROWS=$(CURDIR)/$(B)/narrows tests/run $(B) $(TEST_PROGRAMS)

# The plain kernels are tested everywhere.
TEST_KERNEL_OBJECTS := $(if $(filter plain,$(KERNEL_LEVELS)),,$(KERNEL_SOURCES:%.c=$(B)/%_plain.o))

# The program without its main, so that tests reach the command line's parser.
$(B)/tests/libprogram.a: $(filter-out $(B)/planner/main.o,$(PROGRAM_OBJECTS)) $(TEST_SUPPORT_OBJECTS) \
                         $(TEST_KERNEL_OBJECTS)
	@mkdir -p $(@D)
	$(Q)rm -f $@ && $(AR) rcs $@ $^

$(TEST_PROGRAMS): $(B)/%: $(B)/%.o $(B)/tests/libprogram.a $(B)/libnarrows.a
	$(call say,LD $@)
	$(Q)$(CC) $(OPTIMISE) -fopenmp $(LDFLAGS) -o $@ $< $(B)/tests/libprogram.a $(B)/libnarrows.a \
	    $(TEST_LIBS) $(LIBRARY_LIBS)

# Criterion's macros are not written for these warnings.
$(B)/tests/%.o: ALL_CFLAGS += -Itests -Wno-missing-prototypes -Wno-pedantic -Wno-conversion
$(B)/tests/bench/%.o: ALL_CFLAGS += -Wmissing-prototypes -Wpedantic -Wconversion

# What kernels compute, for instruction sets other than this machine's best: the plain
# kernels that other processors get, and arm64 (emulated).
KERNEL_TESTS := $(notdir $(basename $(wildcard $(addprefix tests/,*kernel_test.c contact*_test.c random_test.c \
                step_*test.c step_test.c mobility_test.c average_test.c *list_test.c *tree_test.c *far*_test.c))))

check-plain:
	@$(MAKE) --no-print-directory KERNELS=plain B=build/plain run-kernel-tests

run-kernel-tests: $(addprefix $(B)/tests/,$(sort $(KERNEL_TESTS)))
	@SCRIPTS=none tests/run $(B) $^

check-arm64:
	@tests/arm64 $(sort $(KERNEL_TESTS))

# --- benchmarks -----------------------------------------------------------------

BENCH_SOURCES := $(wildcard tests/bench/*.c)
BENCH_OBJECTS := $(patsubst %.c,$(B)/%.o,$(filter-out %_kernel.c,$(BENCH_SOURCES))) \
                 $(foreach level,$(KERNEL_LEVELS),$(patsubst %.c,$(B)/%_$(level).o,$(filter %_kernel.c,$(BENCH_SOURCES))))

$(B)/tests/bench/bench: $(BENCH_OBJECTS) $(B)/libnarrows.a
	$(call say,LD $@)
	$(Q)$(CC) $(OPTIMISE) -fopenmp $(LDFLAGS) -o $@ $(BENCH_OBJECTS) $(B)/libnarrows.a $(LIBRARY_LIBS)

# NumPy and SciPy (Debian: python3-numpy python3-scipy) are wanted, not needed: without
# them what is measured against them is null, with the reason.
bench bench-quick: build/narrows build/tests/bench/bench
	build/tests/bench/bench $(if $(filter bench-quick,$@),--quick) --out build/bench.json

# --- against publications --------------------------------------------------------

# Minutes of runs: the tables of docs/trends.md and their plots in docs/trends/, and the
# table of docs/regime.md.
VALIDATE_SEEDS ?= 6
VALIDATE_TRIALS ?= 8
validate: $(VALIDATE_PROGRAMS)
	@mkdir -p docs/trends
	nice $(B)/tests/validate/trends_validate docs/trends.md docs/trends $(VALIDATE_SEEDS)
	nice $(B)/tests/validate/demo_validate scenarios/straight-gate.yaml docs/trends.md $(VALIDATE_TRIALS)
	nice $(B)/tests/validate/models_validate docs/regime.md $(VALIDATE_SEEDS)

$(VALIDATE_PROGRAMS): $(B)/%: $(B)/%.o $(VALIDATE_SUPPORT:%.c=$(B)/%.o) $(B)/libnarrows.a
	$(call say,LD $@)
	$(Q)$(CC) $(OPTIMISE) -fopenmp $(LDFLAGS) -o $@ $^ $(LIBRARY_LIBS)

$(B)/tests/validate/%.o: ALL_CFLAGS += -Itests/validate

# --- checks of the house --------------------------------------------------------

check: check-symbols check-headers check-program check-rows

check-symbols: build/libnarrows.a
	@bad=$$(nm -g --defined-only $< | awk 'NF == 3 && $$3 !~ /^(nrw_|\.gomp_critical_user_nrw_)/ {print $$3}'); \
	if [ -n "$$bad" ]; then echo "exported without nrw_:" $$bad >&2; exit 1; fi

check-headers:
	@for header in $(HEADERS); do \
	    $(CC) $(ALL_CFLAGS) -Wno-pedantic -Werror -fsyntax-only -x c $$header || exit 1; \
	done

PROGRAM_HEADERS := $(addprefix planner/,command.h interrupt.h job.h progress.h)
PUBLIC_TO_PROGRAM := narrows_sim|narrows_plan|command|interrupt|job|progress
check-program:
	@bad=$$(grep -nE '^ *# *include *"' $(PROGRAM_SOURCES) $(PROGRAM_HEADERS) | grep -vE '"($(PUBLIC_TO_PROGRAM))\.h"'); \
	if [ -n "$$bad" ]; then \
	    echo "the program includes more than the public headers:" >&2; echo "$$bad" >&2; exit 1; \
	fi

check-rows:
	@tests/check_rows

OWN_CODE = $(wildcard sim/*.[ch] planner/*.[ch] tests/*.[ch] tests/external/*.[ch] tests/fuzz/*.[ch] \
            tests/bench/*.[ch] tests/validate/*.[ch])

format:
	clang-format -i $(OWN_CODE)

format-check:
	clang-format --dry-run --Werror $(OWN_CODE)

tidy:
	clang-tidy --quiet --warnings-as-errors='*' $(LIBRARY_SOURCES) $(PROGRAM_SOURCES) -- \
	    -std=c17 -fopenmp -D_POSIX_C_SOURCE=200809L -Isim -Iplanner $(LIBRARY_CFLAGS)

# --- installation ---------------------------------------------------------------

# Everything that the two umbrella headers reach.
PUBLIC_HEADERS = $(sort $(patsubst planner/../%,%,$(filter %.h,$(shell $(CC) -MM -Isim -Iplanner \
                 sim/narrows_sim.h planner/narrows_plan.h | tr -d '\\'))))

install: all
	install -d $(DESTDIR)$(PREFIX)/bin $(DESTDIR)$(PREFIX)/lib/pkgconfig \
	    $(DESTDIR)$(PREFIX)/include/narrows
	install -m 755 build/narrows $(DESTDIR)$(PREFIX)/bin/narrows
	install -m 644 build/libnarrows.a $(DESTDIR)$(PREFIX)/lib/libnarrows.a
	for header in $(PUBLIC_HEADERS); do \
	    sed 's|"\.\./sim/|"|' $$header > build/header && \
	    install -m 644 build/header $(DESTDIR)$(PREFIX)/include/narrows/$$(basename $$header) || exit 1; \
	done; rm build/header
	printf '%s\n' 'prefix=$(PREFIX)' 'Name: narrows' \
	    'Description: Plans the passage of magnetic micro-swarms through narrow channels' \
	    'Version: $(VERSION)' 'Requires: $(LIBRARIES)' 'Cflags: -I$${prefix}/include/narrows' \
	    'Libs: -L$${prefix}/lib -lnarrows -fopenmp -lm' \
	    > $(DESTDIR)$(PREFIX)/lib/pkgconfig/narrows.pc

uninstall:
	rm -rf $(DESTDIR)$(PREFIX)/include/narrows
	rm -f $(DESTDIR)$(PREFIX)/bin/narrows $(DESTDIR)$(PREFIX)/lib/libnarrows.a \
	    $(DESTDIR)$(PREFIX)/lib/pkgconfig/narrows.pc

clean:
	rm -rf build

-include $(shell find $(B) -name '*.d' -type f 2>/dev/null)
