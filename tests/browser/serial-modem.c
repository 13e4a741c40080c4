/*
 * What a pseudo-terminal lacks to be a serial port, put in front of the C library by LD_PRELOAD:
 *
 *  - modem lines: DTR and RTS can be set on a terminal that has none, and every change is written as a line to the
 *    file that MODEM_LOG names;
 *  - a break: while the file that MODEM_BREAK names exists, the next read from a terminal finds a break on the line
 *    (as termios marks it with PARMRK: 0xFF 0x00 0x00) and removes that file.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

static int lines;

static void log_lines(void)
{
    const char *path = getenv("MODEM_LOG");
    int file = path ? open(path, O_WRONLY | O_CREAT | O_APPEND, 0644) : -1;
    if (file < 0)
        return;
    dprintf(file, "dtr=%d rts=%d\n", (lines & TIOCM_DTR) != 0, (lines & TIOCM_RTS) != 0);
    close(file);
}

int ioctl(int fd, unsigned long request, ...)
{
    static int (*real)(int, unsigned long, ...);
    if (!real)
        real = (int (*)(int, unsigned long, ...))dlsym(RTLD_NEXT, "ioctl");

    va_list rest;
    va_start(rest, request);
    int *argument = va_arg(rest, int *);
    va_end(rest);

    int result = real(fd, request, argument);
    int lacks_it = result != 0 && (errno == ENOTTY || errno == EINVAL);
    if (!lacks_it)
        return result;
    int before = errno;
    int is_terminal = isatty(fd);
    errno = before;
    if (!is_terminal)
        return result;

    switch (request) {
    case TIOCMGET:
        *argument = lines;
        return 0;
    case TIOCMBIS:
        lines |= *argument;
        break;
    case TIOCMBIC:
        lines &= ~*argument;
        break;
    case TIOCMSET:
        lines = *argument;
        break;
    default:
        return result;
    }
    log_lines();
    return 0;
}

ssize_t read(int fd, void *buffer, size_t size)
{
    static ssize_t (*real)(int, void *, size_t);
    if (!real)
        real = (ssize_t (*)(int, void *, size_t))dlsym(RTLD_NEXT, "read");

    const char *path = getenv("MODEM_BREAK");
    if (path && size >= 3 && access(path, F_OK) == 0 && isatty(fd) && unlink(path) == 0) {
        memcpy(buffer, "\xFF\0\0", 3);
        return 3;
    }
    return real(fd, buffer, size);
}
