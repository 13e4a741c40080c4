import { EigenvalueDecomposition, Matrix } from 'ml-matrix';
import { cholesky, substituteLower, substituteUpper } from './cholesky.ts';
import { DenseProblem } from './dense-problem.ts';
import type { Mat3 } from './geometry.ts';
import type { Vec3 } from './reading.ts';
import { levenbergMarquardt } from './solver.ts';

/** The ellipsoid on which one sensor's readings lie: the shape that its scale, cross-axis and offset errors make. */
export interface Ellipsoid {
  /** In the units of the points. */
  centre: Vec3;
  /** Symmetric, positive definite: T (x − centre) has length one on the surface. */
  T: Mat3;
  /** Root mean square distance of the points from the surface, in their units. */
  scatter: number;
}

/**
 * How far from round the gains and cross-axis terms of a sensor may well be, relative. As a prior of this standard
 * deviation beside the noise found, it weighs next to nothing against readings that show the shape, and decides only
 * what they leave open. (In a cube plan with exact quarter turns the accelerometer never sees its y and z axes together,
 * and so not their cross-axis term; in directions all equally steep it cannot tell gain along the sight from offset. The
 * two sensors together can, later.)
 */
const ORDINARY_SHAPE = 0.3;

/**
 * Fits an ellipsoid to points, as maximum likelihood with equal noise in each coordinate has it. Where the points leave
 * its shape open, it is as round as can be, see {@link ORDINARY_SHAPE}.
 *
 * The start is a linear least-squares quadric; then Levenberg–Marquardt on the distance from the surface to first order,
 * (|T(x−c)| − 1) / |∇|T(x−c)||, in the points' own units (Sampson 1982, Fitting conic sections to very scattered data).
 * The plain residual |T(x−c)| − 1 would not do: it favours a boundless ellipsoid where the points cover little of it.
 *
 * @param points at least nine, not all in one plane
 * @param tolerance of the solver, part of the cost; a start for another fit needs few digits
 * @returns undefined where the points lie on no ellipsoid that they determine
 */
export function fitEllipsoid(points: readonly Vec3[], tolerance = 1e-14): Ellipsoid | undefined {
  const n = points.length;
  if (n < 9) return undefined;
  const { middle, radius } = extent(points);
  if (!(radius > 0) || !Number.isFinite(radius)) return undefined;
  const scaled = new Float64Array(3 * n);
  for (let j = 0; j < n; j++) {
    for (let i = 0; i < 3; i++) scaled[3 * j + i] = (points[j][i] - middle[i]) / radius;
  }
  // noise can bend a nearly open quadric into a hyperboloid: then draw it rounder until it closes
  const start = [1e-9, 1e-5, 1e-3, 1e-1].reduce<number[] | undefined>(
    (found, weight) => found ?? quadric(scaled, weight),
    undefined,
  );
  if (!start) return undefined;

  let weight = 0;
  const evaluate = (x: Float64Array, residuals: Float64Array, jacobian?: Float64Array) => {
    surfaceDistances(scaled, x, residuals, jacobian);
    roundness(x, n, weight, residuals, jacobian);
  };
  const distances = new Float64Array(n + 5);
  evaluate(Float64Array.from(start), distances);
  weight = Math.max(1e-9, rootMeanSquare(distances, n)) / ORDINARY_SHAPE;
  const problem = new DenseProblem(start, n + 5, evaluate);
  const { stopped } = levenbergMarquardt(problem, { limit: 60, tolerance });
  const [cx, cy, cz, a, b, c, d, e, f] = problem.x;
  const T = [a, d, e, d, b, f, e, f, c].map((value) => value / radius);
  if (stopped === 'no_progress' || !positive(new Matrix(rows(T)))) return undefined;
  evaluate(problem.x, distances);
  return {
    centre: [cx * radius + middle[0], cy * radius + middle[1], cz * radius + middle[2]],
    T: T as unknown as Mat3,
    scatter: radius * rootMeanSquare(distances, n),
  };
}

/** Of the first n values. */
function rootMeanSquare(values: Float64Array, n: number): number {
  let sum = 0;
  for (let i = 0; i < n; i++) sum += values[i] * values[i];
  return Math.sqrt(sum / n);
}

/** The five differences that are zero in a sphere, as columns of x: xx = yy, xx = zz, and no cross terms. */
const ROUND = [[3, 4], [3, 5], [6], [7], [8]] as const;

/** Writes the five residuals that draw the shape towards a sphere, from row n on. */
function roundness(
  x: Float64Array,
  n: number,
  weight: number,
  residuals: Float64Array,
  jacobian?: Float64Array,
): void {
  ROUND.forEach(([plus, minus], k) => {
    residuals[n + k] = weight * (x[plus] - (minus === undefined ? 0 : x[minus]));
    if (!jacobian) return;
    jacobian.fill(0, (n + k) * 9, (n + k + 1) * 9);
    jacobian[(n + k) * 9 + plus] = weight;
    if (minus !== undefined) jacobian[(n + k) * 9 + minus] = -weight;
  });
}

/** Middle of the points and root mean square distance from it. */
export function extent(points: readonly Vec3[]): { middle: Vec3; radius: number } {
  let [x, y, z] = [0, 0, 0];
  for (const point of points) {
    x += point[0];
    y += point[1];
    z += point[2];
  }
  const middle: Vec3 = [x / points.length, y / points.length, z / points.length];
  let squares = 0;
  for (const point of points) {
    squares +=
      (point[0] - middle[0]) ** 2 + (point[1] - middle[1]) ** 2 + (point[2] - middle[2]) ** 2;
  }
  return { middle, radius: Math.sqrt(squares / points.length) };
}

const rows = (m: readonly number[]) => [m.slice(0, 3), m.slice(3, 6), m.slice(6, 9)];

/** Positive definite, and not so flat that the points show no ellipsoid. */
function positive(m: Matrix): boolean {
  const values = new EigenvalueDecomposition(m, { assumeSymmetric: true }).realEigenvalues;
  return values.every((value) => value > 1e-3 * Math.max(...values));
}

/**
 * The quadric |x|² + xᵀEx + 2nᵀx = d, E symmetric without trace, of least squared residual: linear in its nine unknowns.
 * A weight per point holds E to zero where the points leave it open.
 *
 * @returns the nine unknowns of the fit: centre, and T (xx yy zz xy xz yz); undefined where it is no ellipsoid
 */
function quadric(points: Float64Array, weight: number): number[] | undefined {
  const count = points.length / 3;
  const normal = new Float64Array(81);
  const right = new Float64Array(9);
  const row = new Float64Array(9);
  row[8] = -1;
  for (let j = 0; j < points.length; j += 3) {
    const x = points[j];
    const y = points[j + 1];
    const z = points[j + 2];
    row[0] = x * x - z * z;
    row[1] = y * y - z * z;
    row[2] = 2 * x * y;
    row[3] = 2 * x * z;
    row[4] = 2 * y * z;
    row[5] = 2 * x;
    row[6] = 2 * y;
    row[7] = 2 * z;
    const square = x * x + y * y + z * z;
    for (let i = 0; i < 9; i++) {
      right[i] -= row[i] * square;
      for (let c = i; c < 9; c++) normal[i * 9 + c] += row[i] * row[c];
    }
  }
  for (let i = 0; i < 5; i++) normal[i * 10] += count * weight;
  if (!cholesky(normal, 9)) return undefined;
  substituteLower(normal, right, 9);
  substituteUpper(normal, right, 9);
  const [exx, eyy, exy, exz, eyz, nx, ny, nz, d] = right;
  const M = new Matrix([
    [1 + exx, exy, exz],
    [exy, 1 + eyy, eyz],
    [exz, eyz, 1 - exx - eyy],
  ]);
  if (!positive(M)) return undefined;
  const eigen = new EigenvalueDecomposition(M, { assumeSymmetric: true });
  const V = eigen.eigenvectorMatrix;
  const spectral = (f: (value: number) => number) =>
    V.mmul(Matrix.diag(eigen.realEigenvalues.map(f))).mmul(V.transpose());
  const n = Matrix.columnVector([nx, ny, nz]);
  const centre = spectral((value) => -1 / value).mmul(n);
  const size = d - n.dot(centre);
  if (!(size > 0)) return undefined;
  const T = spectral((value) => Math.sqrt(value / size));
  return [
    ...centre.to1DArray(),
    ...[T.get(0, 0), T.get(1, 1), T.get(2, 2), T.get(0, 1), T.get(0, 2), T.get(1, 2)],
  ];
}

/**
 * Writes the first-order distance of each point from the surface, and its row of the Jacobian.
 *
 * y = T d, d = x − c, ρ its length, h = T y / ρ the gradient, w its length; the residual is r = (ρ − 1) / w. With
 * dρ = y·dy / ρ and dw = h·(dT y + T dy) / (ρ w) − w dρ / ρ it changes by a·dy + k h·(dT y), dy = dT d − T dc.
 */
function surfaceDistances(
  points: Float64Array,
  x: Float64Array,
  residuals: Float64Array,
  jacobian?: Float64Array,
): void {
  const [c0, c1, c2, xx, yy, zz, xy, xz, yz] = x;
  for (let j = 0; 3 * j < points.length; j++) {
    const d0 = points[3 * j] - c0;
    const d1 = points[3 * j + 1] - c1;
    const d2 = points[3 * j + 2] - c2;
    const y0 = xx * d0 + xy * d1 + xz * d2;
    const y1 = xy * d0 + yy * d1 + yz * d2;
    const y2 = xz * d0 + yz * d1 + zz * d2;
    const rho = Math.sqrt(y0 * y0 + y1 * y1 + y2 * y2);
    const h0 = (xx * y0 + xy * y1 + xz * y2) / rho;
    const h1 = (xy * y0 + yy * y1 + yz * y2) / rho;
    const h2 = (xz * y0 + yz * y1 + zz * y2) / rho;
    const w = Math.sqrt(h0 * h0 + h1 * h1 + h2 * h2);
    const r = (rho - 1) / w;
    residuals[j] = r;
    if (!jacobian) continue;
    const k = -r / (rho * w * w);
    const along = (1 / w + r / rho) / rho;
    const a0 = along * y0 + k * (xx * h0 + xy * h1 + xz * h2);
    const a1 = along * y1 + k * (xy * h0 + yy * h1 + yz * h2);
    const a2 = along * y2 + k * (xz * h0 + yz * h1 + zz * h2);
    const k0 = k * h0;
    const k1 = k * h1;
    const k2 = k * h2;
    const row = 9 * j;
    jacobian[row] = -(xx * a0 + xy * a1 + xz * a2);
    jacobian[row + 1] = -(xy * a0 + yy * a1 + yz * a2);
    jacobian[row + 2] = -(xz * a0 + yz * a1 + zz * a2);
    jacobian[row + 3] = a0 * d0 + k0 * y0;
    jacobian[row + 4] = a1 * d1 + k1 * y1;
    jacobian[row + 5] = a2 * d2 + k2 * y2;
    jacobian[row + 6] = a0 * d1 + a1 * d0 + k0 * y1 + k1 * y0;
    jacobian[row + 7] = a0 * d2 + a2 * d0 + k0 * y2 + k2 * y0;
    jacobian[row + 8] = a1 * d2 + a2 * d1 + k1 * y2 + k2 * y1;
  }
}
