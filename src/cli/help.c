/*
 * The help texts: all commands on one page, and each command with its options. Commands and options
 * are told from the tables that the parser reads, so that neither can know what the other does not.
 * No line is wider than 80 columns.
 */
#include "cli/cli_internal.h"

#include <stdio.h>
#include <string.h>
#include <sysexits.h>

/* Where the words begin that stand beside a command or an option. */
enum { HELP_COLUMN = 31 };

static const char caution[] =
    "A measuring aid and no diagnosis: a film does not show the facial plate, and\n"
    "local rules and the judgement of the licensed clinician come first.\n";

/* `name` and, beside it, the lines of `does`; what is too long for its place has a line alone. */
static void put_beside(const char *name, const char *does)
{
    int at = printf("%s", name);
    if (at >= HELP_COLUMN) {
        puts("");
        at = 0;
    }
    for (const char *line = does; *line != '\0';) {
        int n = (int)strcspn(line, "\n");
        printf("%*s%.*s\n", HELP_COLUMN - at, "", n, line);
        at = 0;
        line += n + (line[n] == '\n');
    }
}

static void put_command(const char *name, const char *takes, const char *does)
{
    char head[64];
    snprintf(head, sizeof head, "  plumbrule %s%s%s", name, *takes ? " " : "", takes);
    put_beside(head, does);
}

int cli_help(const struct cli_command *commands, size_t n, int with_view)
{
    puts("plumbrule - does the pin stand true? Measures a periapical film.\n");
    for (size_t i = 0; i < n; i++)
        put_command(commands[i].name, commands[i].takes, commands[i].does);
    if (with_view)
        put_command("view", "[FILM|SHEET]", "place and check marks in a window");
    puts("\nplumbrule COMMAND --help tells a command's options; the whole is in the manual,\n"
         "man plumbrule, which lies in the source tree as src/cli/plumbrule.1.\n\n"
         "FILM is a PNG, TIFF or JPEG; SHEET, the file of its marks, may be - for\n"
         "standard input. Data go to standard output, all else to standard error.\n\n"
         "Exit codes: 0 done, 64 usage, 65 bad data, 66 no such input, 70 a defect of\n"
         "ours, 71 the system, 73 cannot create, 74 input or output.\n");
    fputs(caution, stdout);
    return EX_OK;
}

/* What is said of the option in this command: a row of its own, or the general one. */
static bool is_row_of(const struct cli_option *row, const char *command)
{
    size_t n;
    const struct cli_option *other = cli_option_table(&n);
    if (row->of != NULL)
        return strstr(row->of, command) != NULL;
    for (size_t i = 0; i < n; i++)
        if (other[i].id == row->id && other[i].of != NULL && strstr(other[i].of, command) != NULL)
            return false;
    return true;
}

static void put_option(const struct cli_option *row)
{
    char head[64];
    snprintf(head, sizeof head, "  --%s%s%s", row->name, row->value ? " " : "",
             row->value ? row->value : "");
    put_beside(head, row->does);
}

int cli_help_of(const struct cli_command *c)
{
    size_t n;
    const struct cli_option *row = cli_option_table(&n);
    put_command(c->name, c->takes, c->does);
    puts("");
    for (size_t i = 0; i < n; i++)
        if (cli_is_allowed(row[i].name, c->allowed) && is_row_of(&row[i], c->name))
            put_option(&row[i]);
    puts("");
    fputs(caution, stdout);
    return EX_OK;
}
