# plumbrule - build rules. `make help` lists the targets.
#
# Sources are the .c files of each part's folder, so a new file needs no edit here. Our flags stand
# apart from the user's CFLAGS, CPPFLAGS, LDFLAGS and LDLIBS, which come last and win.

FLAVOUR ?= release
VIEWER  ?= yes
# Without the window the objects differ: a folder of their own.
B       := build/$(FLAVOUR)$(if $(filter no,$(VIEWER)),-windowless)
PREFIX  ?= /usr/local
DESTDIR ?=
JOBS    ?= $(shell nproc 2>/dev/null || echo 2)

# Lowest part first; a part includes only parts before it (tests/layers.sh checks).
PARTS   := base geometry metrology film find sheet measure exam record

LIB_SRC := $(sort $(foreach p,$(PARTS),$(wildcard src/$(p)/*.c)))
CMD_SRC := src/main.c $(sort $(wildcard src/cli/*.c))
FIX_SRC := $(sort $(wildcard fixtures/phantom*.c))
TEST_SRC := $(sort $(wildcard tests/*/test_*.c))
BENCH_SRC := $(sort $(wildcard tests/bench/bench_*.c))
TOOL_SRC := $(sort $(wildcard fixtures/tool_*.c))
SUPPORT_SRC := $(sort $(wildcard tests/support/*.c))

PKGS      := libpng libtiff-4 libjpeg cairo pangocairo jansson libexif
TEST_PKGS := cmocka
ifeq ($(VIEWER),yes)
VIEW_SRC := $(sort $(wildcard src/viewer/*.c))
CMD_PKGS := x11 xext cairo-xlib
VIEWER_DEF := -DPLUMB_VIEWER=1
else
VIEWER_DEF := -DPLUMB_VIEWER=0
TEST_SRC := $(filter-out tests/viewer/%,$(TEST_SRC))
BENCH_SRC := $(filter-out tests/bench/bench_view.c,$(BENCH_SRC))
endif

# Packages are asked for only when something is compiled, so that `make demo` works on a bare machine.
NEEDS_PKGS := $(filter-out demo demo-all check ci clean help deps layers format install-deps uninstall,$(or $(MAKECMDGOALS),all))
ifneq ($(NEEDS_PKGS),)
PKG_CFLAGS := $(shell pkg-config --cflags $(PKGS) $(CMD_PKGS) 2>/dev/null)
PKG_LIBS   := $(shell pkg-config --libs $(PKGS) 2>/dev/null)
CMD_LIBS   := $(if $(CMD_PKGS),$(shell pkg-config --libs $(CMD_PKGS) 2>/dev/null))
TEST_LIBS  := $(shell pkg-config --libs $(TEST_PKGS) 2>/dev/null)
HAVE_GSL   := $(shell pkg-config --exists gsl && echo yes)
HAVE_SPNG  := $(shell pkg-config --exists spng && echo yes)
endif
TEST_DEFS  := $(if $(HAVE_GSL),-DHAVE_GSL=1) $(if $(HAVE_SPNG),-DHAVE_SPNG=1)
TEST_LIBS  += $(if $(HAVE_GSL),$(shell pkg-config --libs gsl)) $(if $(HAVE_SPNG),$(shell pkg-config --libs spng))

OUR_CPPFLAGS := -Iinclude -Isrc -I. -D_POSIX_C_SOURCE=200809L $(VIEWER_DEF) $(patsubst -I%,-isystem %,$(PKG_CFLAGS))
OUR_CFLAGS   := -std=c17 -O2 -g -pthread -ffp-contract=off \
	-Wall -Wextra -Werror -Wshadow -Wconversion -Wdouble-promotion -Wmissing-prototypes \
	-Wstrict-prototypes -Wvla -Wformat=2 -Wundef -Wpointer-arith -Wcast-qual -Wwrite-strings $(SAN)
OUR_LDFLAGS  := -pthread $(SAN)
OUR_LDLIBS   := $(PKG_LIBS) -lm

LIB   := $(B)/libplumbrule.a
CMD   := $(B)/plumbrule
TESTS := $(TEST_SRC:%.c=$(B)/%)
BENCH := $(BENCH_SRC:%.c=$(B)/%)
TOOLS := $(TOOL_SRC:%.c=$(B)/%)
FIXLIB := $(B)/libfixtures.a
VIEWLIB := $(if $(VIEW_SRC),$(B)/libviewer.a)

objs = $(patsubst %.c,$(B)/%.o,$(1))
EMBED := $(patsubst %,$(B)/%.inc,$(wildcard src/*/*.json))

all: $(LIB) $(CMD)

$(LIB): $(call objs,$(LIB_SRC))
	@rm -f $@
	@echo '  ar  $@'
	@$(AR) rcs $@ $^

$(FIXLIB): $(call objs,$(FIX_SRC) $(SUPPORT_SRC))
	@rm -f $@
	@echo '  ar  $@'
	@$(AR) rcs $@ $^

$(B)/libviewer.a: $(call objs,$(VIEW_SRC))
	@rm -f $@
	@echo '  ar  $@'
	@$(AR) rcs $@ $^

$(CMD): $(call objs,$(CMD_SRC)) $(VIEWLIB) $(LIB)
	@echo '  ld  $@'
	@$(CC) $(OUR_LDFLAGS) $(LDFLAGS) -o $@ $^ $(OUR_LDLIBS) $(CMD_LIBS) $(LDLIBS)

$(TESTS): $(B)/tests/%: $(B)/tests/%.o $(VIEWLIB) $(FIXLIB) $(LIB)
	@echo '  ld  $@'
	@$(CC) $(OUR_LDFLAGS) $(LDFLAGS) -o $@ $^ $(OUR_LDLIBS) $(TEST_LIBS) $(CMD_LIBS) $(LDLIBS)

$(BENCH) $(TOOLS): $(B)/%: $(B)/%.o $(VIEWLIB) $(FIXLIB) $(LIB)
	@echo '  ld  $@'
	@$(CC) $(OUR_LDFLAGS) $(LDFLAGS) -o $@ $^ $(OUR_LDLIBS) $(TEST_LIBS) $(CMD_LIBS) $(LDLIBS)

$(B)/%.o: %.c | $(EMBED)
	@mkdir -p $(@D)
	@echo '  cc  $<'
	@$(CC) $(OUR_CPPFLAGS) -I$(B)/src $(if $(filter tests/%,$<),$(TEST_DEFS)) $(CPPFLAGS) $(OUR_CFLAGS) $(CFLAGS) -MMD -MP -c -o $@ $<

# A data file of the source tree as the body of a C array: #include "measure/limits.json.inc".
$(B)/%.json.inc: %.json
	@mkdir -p $(@D)
	@od -An -v -tx1 $< | sed 's/\([0-9a-f][0-9a-f]\)/0x\1,/g' > $@

$(call objs,$(LIB_SRC)): $(EMBED)

-include $(patsubst %.o,%.d,$(call objs,$(LIB_SRC) $(CMD_SRC) $(VIEW_SRC) $(FIX_SRC) $(SUPPORT_SRC) $(TEST_SRC) $(BENCH_SRC) $(TOOL_SRC)))

# --- what people type ---------------------------------------------------------------------------

help:
	@echo 'make demo       install what is missing, build, make a record from a demo film'
	@echo 'make demo-all   the record of every demo film'
	@echo 'make check      install what is missing, run every test'
	@echo 'make            build $(CMD)'
	@echo 'make bench      accuracy, coverage and speed tables'
	@echo 'make asan       the tests under address and undefined-behaviour sanitizers'
	@echo 'make lint format headers layers'
	@echo 'make install uninstall [PREFIX=/usr/local] [DESTDIR=]'
	@echo 'make clean'
	@echo 'VIEWER=no builds without the window; CC=clang with clang'

deps:
	@sh tests/deps.sh $(if $(filter no,$(VIEWER)),--no-viewer)

deps-check:
	@sh tests/deps.sh --check $(if $(filter no,$(VIEWER)),--no-viewer)

demo: deps
	@$(MAKE) --no-print-directory -j$(JOBS) all >/dev/null
	@sh demo-images/make-record.sh $(CMD) first-drill

demo-all: deps
	@$(MAKE) --no-print-directory -j$(JOBS) all >/dev/null
	@sh demo-images/make-record.sh $(CMD)

check: deps-check
	@$(MAKE) --no-print-directory -j$(JOBS) tests
	@$(MAKE) --no-print-directory layers headers lint
	@$(MAKE) --no-print-directory run-tests
	@$(MAKE) --no-print-directory asan

tests: all $(TESTS) $(TOOLS) $(BENCH)

run-tests: tests
	@sh tests/run.sh $(B) $(TESTS)

ASAN_FLAVOUR := FLAVOUR=asan SAN='-fsanitize=address,undefined -fno-sanitize-recover=all -fno-omit-frame-pointer'
asan:
	@$(MAKE) --no-print-directory $(ASAN_FLAVOUR) -j$(JOBS) tests
	@$(MAKE) --no-print-directory $(ASAN_FLAVOUR) run-tests

bench: all $(BENCH) $(TOOLS)
	@sh tests/bench/run.sh $(B)

# Every header compiles alone.
headers:
	@for h in include/plumbrule/*.h src/*/*_internal.h fixtures/*.h; do [ -e $$h ] || continue; \
	  $(CC) $(OUR_CPPFLAGS) $(CPPFLAGS) $(OUR_CFLAGS) -Wno-unused-function -fsyntax-only -x c $$h || exit 1; done
	@echo 'headers: each compiles alone'

layers:
	@sh tests/layers.sh $(PARTS)

FORMATTED := $(wildcard include/plumbrule/*.h src/*/*.c src/*/*.h fixtures/*.c fixtures/*.h tests/*/*.c tests/*/*.h)
format:
	clang-format -i $(FORMATTED)

lint:
	@sh tests/lint.sh $(FORMATTED)

install: all
	install -d $(DESTDIR)$(PREFIX)/bin $(DESTDIR)$(PREFIX)/lib/pkgconfig $(DESTDIR)$(PREFIX)/include/plumbrule $(DESTDIR)$(PREFIX)/share/man/man1
	install -m 755 $(CMD) $(DESTDIR)$(PREFIX)/bin/plumbrule
	install -m 644 $(LIB) $(DESTDIR)$(PREFIX)/lib/libplumbrule.a
	install -m 644 include/plumbrule/*.h $(DESTDIR)$(PREFIX)/include/plumbrule
	install -m 644 src/cli/plumbrule.1 $(DESTDIR)$(PREFIX)/share/man/man1/plumbrule.1
	sed -e 's|@PREFIX@|$(PREFIX)|' -e "s|@VERSION@|$$(sed -n 's/.*PLUMB_VERSION "\(.*\)"/\1/p' include/plumbrule/base.h)|" \
	  -e 's|@REQUIRES@|$(PKGS)|' src/base/libplumbrule.pc.in > $(DESTDIR)$(PREFIX)/lib/pkgconfig/libplumbrule.pc

uninstall:
	rm -f $(DESTDIR)$(PREFIX)/bin/plumbrule $(DESTDIR)$(PREFIX)/lib/libplumbrule.a \
	  $(DESTDIR)$(PREFIX)/lib/pkgconfig/libplumbrule.pc $(DESTDIR)$(PREFIX)/share/man/man1/plumbrule.1
	rm -rf $(DESTDIR)$(PREFIX)/include/plumbrule

clean:
	rm -rf build

.PHONY: all help deps deps-check demo demo-all check tests run-tests asan bench headers layers format lint install uninstall clean
.SECONDARY:
