/* Foreign firmware, as small as can be: applies the coefficients of HEADER to counts, one reading a line. Written from
   the comment of such a header and nothing else. With no argument it reads "ax ay az mx my mz" and prints azimuth,
   inclination, roll in degrees and the lengths of g and b; with one it prints every constant's 32 bits. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include HEADER

static const double DEGREES = 57.295779513082320877;

static void print_bits(const float *values, int count) {
  for (int i = 0; i < count; i++) {
    uint32_t bits;
    memcpy(&bits, &values[i], sizeof bits);
    printf("%lu\n", (unsigned long)bits);
  }
}

static REAL length(const REAL v[3]) {
  return (REAL)sqrt((double)(v[0] * v[0] + v[1] * v[1] + v[2] * v[2]));
}

static void unit(REAL v[3]) {
  const REAL l = length(v);
  for (int i = 0; i < 3; i++) v[i] /= l;
}

static void cross(const REAL a[3], const REAL b[3], REAL out[3]) {
  out[0] = a[1] * b[2] - a[2] * b[1];
  out[1] = a[2] * b[0] - a[0] * b[2];
  out[2] = a[0] * b[1] - a[1] * b[0];
}

static double bearing(REAL y, REAL x) {
  const double degrees = atan2((double)y, (double)x) * DEGREES;
  return degrees < 0 ? degrees + 360 : degrees;
}

int main(int argc, char **argv) {
  double c[6];
  (void)argv;
  if (argc > 1) {
    print_bits(&lodebench_acc_scale, 1);
    print_bits(&lodebench_mag_scale, 1);
    print_bits(lodebench_o, 3);
    print_bits(&lodebench_A[0][0], 9);
    print_bits(lodebench_p, 3);
    print_bits(&lodebench_B[0][0], 9);
    if (LODEBENCH_BOWED) print_bits(lodebench_q, 3);
    printf("%lu\n", (unsigned long)LODEBENCH_CRC32);
#ifdef LODEBENCH_BOARD
    puts(LODEBENCH_BOARD);
#endif
    return 0;
  }
  while (scanf("%lf %lf %lf %lf %lf %lf", c, c + 1, c + 2, c + 3, c + 4, c + 5) == 6) {
    REAL g[3] = {0, 0, 0}, b[3] = {0, 0, 0}, e[3], n[3];
    for (int k = 0; k < 3; k++) {
      const REAL s = (REAL)c[k] / lodebench_acc_scale - lodebench_o[k];
      const REAL t = s + lodebench_q[k] * s * s;
      const REAL m = (REAL)c[3 + k] / lodebench_mag_scale - lodebench_p[k];
      for (int i = 0; i < 3; i++) {
        g[i] += lodebench_A[i][k] * t;
        b[i] += lodebench_B[i][k] * m;
      }
    }
    const REAL gravity = length(g), field = length(b);
    unit(g);
    unit(b);
    cross(g, b, e);
    unit(e);
    cross(e, g, n);
    const double inclination = asin(fmax(-1, fmin(1, (double)-g[0]))) * DEGREES;
    printf("%.9f %.9f %.9f %.9f %.9f\n", bearing(e[0], n[0]), inclination, bearing(g[1], g[2]),
           (double)gravity, (double)field);
  }
  return 0;
}
