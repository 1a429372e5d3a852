/*
 * SHA-256 against the examples that NIST publishes with FIPS 180-4 (one block, two blocks, a
 * million times "a") and against the system's sha256sum for lengths around the block's edge.
 */
#include "tests/support/close.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include "base/digest_internal.h"
#include "plumbrule/base.h"

static void published_examples(void **state)
{
    (void)state;
    static const struct {
        const char *text, *hex;
    } table[] = {
        {"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
        {"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
        {"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
         "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"},
        {"abcdefghbcdefghicdefghijdefghijkefghijklfghijklmghijklmn"
         "hijklmnoijklmnopjklmnopqklmnopqrlmnopqrsmnopqrstnopqrstu",
         "cf5b16a778af8380036ce59e7b0492370b249b11e8f07a51afac45037afee9d1"},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        char hex[65];
        plumb_digest_sha256(table[i].text, strlen(table[i].text), hex);
        assert_string_equal(hex, table[i].hex);
    }
}

static void a_million_times_a(void **state)
{
    (void)state;
    char *text = malloc(1000000), hex[65];
    memset(text, 'a', 1000000);
    plumb_digest_sha256(text, 1000000, hex);
    assert_string_equal(hex, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
    free(text);
}

/* Writes len bytes to a file and asks the system for their digest. */
static bool system_digest(const unsigned char *data, size_t len, char hex[65])
{
    char path[] = "/tmp/plumb-digest-XXXXXX", command[128];
    int fd = mkstemp(path);
    if (fd < 0)
        return false;
    bool ok = write(fd, data, len) == (ssize_t)len;
    close(fd);
    snprintf(command, sizeof command, "sha256sum %s 2>/dev/null", path);
    FILE *p = ok ? popen(command, "r") : NULL; /* NOLINT(cert-env33-c) */
    ok = p != NULL && fscanf(p, "%64s", hex) == 1 && strlen(hex) == 64;
    if (p != NULL)
        pclose(p);
    unlink(path);
    return ok;
}

static void agrees_with_sha256sum(void **state)
{
    (void)state;
    static const size_t length[] = {1, 54, 55, 56, 57, 63, 64, 65, 119, 120, 127, 128, 129, 70001};
    static unsigned char data[70001];
    char want[65], hex[65];
    for (size_t i = 0; i < sizeof data; i++)
        data[i] = (unsigned char)(i * 131 + i / 256 * 7);
    for (size_t i = 0; i < sizeof length / sizeof length[0]; i++) {
        if (!system_digest(data, length[i], want)) {
            print_message("skipped: sha256sum is not to be had\n");
            skip();
        }
        plumb_digest_sha256(data, length[i], hex);
        assert_string_equal(hex, want);
    }
}

/* The processor's instructions and plain C, from the same state over the same blocks. */
static void both_ways_agree(void **state)
{
    (void)state;
    enum { BLOCKS = 5 };
    unsigned char data[BLOCKS * DIGEST_BLOCK];
    uint32_t cpu[8], plain[8];
    for (size_t i = 0; i < sizeof data; i++)
        data[i] = (unsigned char)(i * 167 + 13);
    for (uint32_t i = 0; i < 8; i++)
        cpu[i] = plain[i] = 0x9e3779b9U * (i + 1);
    if (!digest_cpu_blocks(cpu, data, BLOCKS)) {
        print_message("skipped: this processor has no instructions for it\n");
        skip();
    }
    digest_plain_blocks(plain, data, BLOCKS);
    assert_memory_equal(cpu, plain, sizeof cpu);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(published_examples),
        cmocka_unit_test(a_million_times_a),
        cmocka_unit_test(agrees_with_sha256sum),
        cmocka_unit_test(both_ways_agree),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
