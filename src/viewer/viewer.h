/* The window. */
#ifndef PLUMB_VIEWER_H
#define PLUMB_VIEWER_H

/* Runs `view [FILM or SHEET]`, argv[0] being "view"; returns the exit code (sysexits.h). */
int viewer_main(int argc, char **argv);

#endif
