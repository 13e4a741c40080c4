/*
 * Serial ports on a USB that is not there. Reads a description of devices (umockdev's own format) from the file named
 * in its argument, prints the folder that UMOCKDEV_DIR must name for a program to see them, and then carries out lines
 * such as "remove /sys/devices/..." and "add /sys/devices/...", answering "done" to each, until its input ends.
 *
 * Built against the libraries alone, whose few functions used here are declared by hand: no headers need be installed.
 */
#include <stdio.h>

typedef struct Testbed Testbed;
extern Testbed *umockdev_testbed_new(void);
extern char *umockdev_testbed_get_root_dir(Testbed *bed);
extern int umockdev_testbed_add_from_string(Testbed *bed, const char *devices, void **error);
extern void umockdev_testbed_uevent(Testbed *bed, const char *device, const char *action);
extern void g_object_unref(void *object);

int main(int count, char **arguments)
{
    static char devices[65536];
    FILE *file = count == 2 ? fopen(arguments[1], "r") : NULL;
    if (!file) {
        fprintf(stderr, "usage: serial-usb DEVICES\n");
        return 2;
    }
    devices[fread(devices, 1, sizeof devices - 1, file)] = '\0';
    fclose(file);

    Testbed *bed = umockdev_testbed_new();
    void *error = NULL;
    if (!umockdev_testbed_add_from_string(bed, devices, &error)) {
        fprintf(stderr, "umockdev does not take these devices\n");
        return 1;
    }
    setvbuf(stdout, NULL, _IOLBF, 0);
    printf("%s\n", umockdev_testbed_get_root_dir(bed));

    char action[16], device[512];
    while (scanf("%15s %511s", action, device) == 2) {
        umockdev_testbed_uevent(bed, device, action);
        printf("done\n");
    }
    g_object_unref(bed); /* which removes its folder */
    return 0;
}
