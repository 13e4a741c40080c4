import type { CoefficientSet } from '../src/protocol/coefficient-set.ts';
import type { Triple } from './world.ts';

/**
 * The board's own angles (SPEC.md, sections 6.1 and 6.2), reckoned as its processor does it: every single operation
 * rounded to binary32.
 */
export interface BoardAngles {
  azimuth?: number;
  inclination?: number;
  roll?: number;
}

const f = Math.fround;
const add = (a: number, b: number): number => f(a + b);
const sub = (a: number, b: number): number => f(a - b);
const mul = (a: number, b: number): number => f(a * b);
const div = (a: number, b: number): number => f(a / b);

function dot(u: Triple, v: Triple): number {
  return add(add(mul(u[0], v[0]), mul(u[1], v[1])), mul(u[2], v[2]));
}

function cross(u: Triple, v: Triple): Triple {
  return [
    sub(mul(u[1], v[2]), mul(u[2], v[1])),
    sub(mul(u[2], v[0]), mul(u[0], v[2])),
    sub(mul(u[0], v[1]), mul(u[1], v[0])),
  ];
}

/** Sines of angles smaller than this are lost in the rounding: what is that near to the vertical is vertical. */
const TOO_SMALL = 1e-5;

/** The vector by its length, or nothing where that has no meaning. */
function unit(v: Triple, least: number): Triple | undefined {
  const length = f(Math.sqrt(dot(v, v)));
  if (!(length > least && length < Infinity)) return undefined;
  return [div(v[0], length), div(v[1], length), div(v[2], length)];
}

function times(matrix: readonly number[], v: Triple): Triple {
  const row = (i: number): Triple => [matrix[3 * i]!, matrix[3 * i + 1]!, matrix[3 * i + 2]!];
  return [dot(row(0), v), dot(row(1), v), dot(row(2), v)];
}

function map(v: Triple, each: (value: number, axis: 0 | 1 | 2) => number): Triple {
  return [each(v[0], 0), each(v[1], 1), each(v[2], 2)];
}

const DEGREES = 180 / Math.PI;

/** Degrees in [0, 360). */
function turn(y: number, x: number): number {
  const degrees = f(f(Math.atan2(y, x)) * DEGREES);
  const positive = degrees < 0 ? add(degrees, 360) : degrees;
  return positive >= 360 ? 0 : positive;
}

/** Angles from exactly these counts, with these coefficients; each is left out where it has no meaning. */
export function boardAngles(
  { values }: CoefficientSet,
  counts: { acc: Triple; mag: Triple },
): BoardAngles {
  const [accScale, magScale] = values as [number, number];
  const o = values.slice(2, 5);
  const A = values.slice(5, 14);
  const p = values.slice(14, 17);
  const B = values.slice(17, 26);
  const q = values.slice(26, 29);

  const s = map(counts.acc, (c, i) => sub(div(f(c), accScale), o[i]!));
  const t = map(s, (x, i) => (q.length === 0 ? x : add(x, mul(q[i]!, mul(x, x)))));
  const g = unit(times(A, t), 0);
  const b = unit(
    times(
      B,
      map(counts.mag, (c, i) => sub(div(f(c), magScale), p[i]!)),
    ),
    0,
  );
  if (!g) return {};

  const inclination = f(f(Math.asin(Math.max(-1, Math.min(1, -g[0])))) * DEGREES);
  if (f(Math.hypot(g[1], g[2])) < TOO_SMALL) return { inclination };
  const roll = turn(g[1], g[2]);

  const e = b && unit(cross(g, b), TOO_SMALL);
  const n = e && unit(cross(e, g), 0);
  if (!n) return { inclination, roll };
  return { azimuth: turn(e[0], n[0]), inclination, roll };
}
