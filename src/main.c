/* plumbrule: the command line and the window under one name. */
#include "cli/cli.h"
#if PLUMB_VIEWER
#include "viewer/viewer.h"
#endif

#include <signal.h>
#include <string.h>

int main(int argc, char **argv)
{
    signal(SIGPIPE, SIG_IGN); /* a reader that went away shows as a failed write */
#if PLUMB_VIEWER
    if (argc >= 2 && strcmp(argv[1], "view") == 0)
        return cli_finish(viewer_main(argc - 1, argv + 1));
#endif
    return cli_finish(cli_main(argc, argv, PLUMB_VIEWER));
}
