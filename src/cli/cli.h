/* The commands that need no window. */
#ifndef PLUMB_CLI_H
#define PLUMB_CLI_H

/* Runs one command and returns the exit code (sysexits.h). `with_view`: the program has a window.
 */
int cli_main(int argc, char **argv, int with_view);
/* Flushes and checks standard output: a full disk is an error. Returns the exit code to leave with.
 */
int cli_finish(int code);

#endif
