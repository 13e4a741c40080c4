import { CholeskyDecomposition, EigenvalueDecomposition, Matrix } from 'ml-matrix';
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
  const scaled = points.map((x) => x.map((value, i) => (value - middle[i]!) / radius));
  // noise can bend a nearly open quadric into a hyperboloid: then draw it rounder until it closes
  const start = [1e-9, 1e-5, 1e-3, 1e-1].reduce<number[] | undefined>(
    (found, weight) => found ?? quadric(scaled, weight),
    undefined,
  );
  if (!start) return undefined;

  let weight = 0;
  const evaluate = (x: Float64Array, residuals: Float64Array, jacobian?: Float64Array) => {
    scaled.forEach((point, i) => surfaceDistance(point, x, i, residuals, jacobian));
    roundness(x, n, weight, residuals, jacobian);
  };
  const distances = new Float64Array(n + 5);
  evaluate(Float64Array.from(start), distances);
  weight = Math.max(1e-9, rootMeanSquare(distances.subarray(0, n))) / ORDINARY_SHAPE;
  const problem = new DenseProblem(start, n + 5, evaluate);
  const { stopped } = levenbergMarquardt(problem, { limit: 60, tolerance });
  const [cx, cy, cz, a, b, c, d, e, f] = problem.x as unknown as number[];
  const T = [a!, d!, e!, d!, b!, f!, e!, f!, c!].map((value) => value / radius);
  if (stopped === 'no_progress' || !positive(new Matrix(rows(T)))) return undefined;
  evaluate(problem.x, distances);
  return {
    centre: [cx!, cy!, cz!].map((value, i) => value * radius + middle[i]!) as unknown as Vec3,
    T: T as unknown as Mat3,
    scatter: radius * rootMeanSquare(distances.subarray(0, n)),
  };
}

const rootMeanSquare = (values: Float64Array) =>
  Math.sqrt(values.reduce((sum, value) => sum + value * value, 0) / values.length);

/** Writes the five residuals that draw the shape towards a sphere, from row n on. */
function roundness(
  x: Float64Array,
  n: number,
  weight: number,
  residuals: Float64Array,
  jacobian?: Float64Array,
): void {
  // xx = yy, xx = zz, and no cross terms
  const columns = [[3, 4], [3, 5], [6], [7], [8]] as const;
  columns.forEach(([plus, minus], k) => {
    residuals[n + k] = weight * (x[plus]! - (minus === undefined ? 0 : x[minus]!));
    if (!jacobian) return;
    jacobian.fill(0, (n + k) * 9, (n + k + 1) * 9);
    jacobian[(n + k) * 9 + plus] = weight;
    if (minus !== undefined) jacobian[(n + k) * 9 + minus] = -weight;
  });
}

/** Middle of the points and root mean square distance from it. */
export function extent(points: readonly Vec3[]): { middle: Vec3; radius: number } {
  const mean = (f: (x: Vec3) => number) => points.reduce((sum, x) => sum + f(x), 0) / points.length;
  const middle: Vec3 = [mean((x) => x[0]), mean((x) => x[1]), mean((x) => x[2])];
  const radius = Math.sqrt(
    mean((x) => (x[0] - middle[0]) ** 2 + (x[1] - middle[1]) ** 2 + (x[2] - middle[2]) ** 2),
  );
  return { middle, radius };
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
function quadric(points: readonly (readonly number[])[], weight: number): number[] | undefined {
  const normal = Matrix.zeros(9, 9);
  const right = Matrix.zeros(9, 1);
  for (const [x, y, z] of points as [number, number, number][]) {
    const row = [x * x - z * z, y * y - z * z, 2 * x * y, 2 * x * z, 2 * y * z];
    row.push(2 * x, 2 * y, 2 * z, -1);
    const square = x * x + y * y + z * z;
    for (let i = 0; i < 9; i++) {
      right.set(i, 0, right.get(i, 0) - row[i]! * square);
      for (let c = 0; c < 9; c++) normal.set(i, c, normal.get(i, c) + row[i]! * row[c]!);
    }
  }
  for (let i = 0; i < 5; i++) normal.set(i, i, normal.get(i, i) + points.length * weight);
  const factor = new CholeskyDecomposition(normal);
  if (!factor.isPositiveDefinite()) return undefined;
  const [exx, eyy, exy, exz, eyz, nx, ny, nz, d] = factor.solve(right).to1DArray() as [
    ...[number, number, number, number, number, number, number, number, number],
  ];
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

/** Writes residual i, the first-order distance of a point from the surface, and its row of the Jacobian. */
function surfaceDistance(
  point: readonly number[],
  x: Float64Array,
  i: number,
  residuals: Float64Array,
  jacobian?: Float64Array,
): void {
  const [c0, c1, c2, xx, yy, zz, xy, xz, yz] = x as unknown as [
    ...[number, number, number, number, number, number, number, number, number],
  ];
  const [d0, d1, d2] = [point[0]! - c0, point[1]! - c1, point[2]! - c2];
  // y = T d, its length ρ, h = T y / ρ the gradient, its length w; the residual is (ρ − 1) / w
  const y0 = xx * d0 + xy * d1 + xz * d2;
  const y1 = xy * d0 + yy * d1 + yz * d2;
  const y2 = xz * d0 + yz * d1 + zz * d2;
  const rho = Math.hypot(y0, y1, y2);
  const h0 = (xx * y0 + xy * y1 + xz * y2) / rho;
  const h1 = (xy * y0 + yy * y1 + yz * y2) / rho;
  const h2 = (xz * y0 + yz * y1 + zz * y2) / rho;
  const w = Math.hypot(h0, h1, h2);
  const residual = (rho - 1) / w;
  residuals[i] = residual;
  if (!jacobian) return;

  // dρ = y·dy / ρ and dw = h·(dT y + T dy) / (ρ w) − w dρ / ρ
  const write = (
    column: number,
    [dy0, dy1, dy2]: readonly number[],
    [t0, t1, t2]: readonly number[],
  ) => {
    const dRho = (y0 * dy0! + y1 * dy1! + y2 * dy2!) / rho;
    const e0 = t0! + xx * dy0! + xy * dy1! + xz * dy2!;
    const e1 = t1! + xy * dy0! + yy * dy1! + yz * dy2!;
    const e2 = t2! + xz * dy0! + yz * dy1! + zz * dy2!;
    const dW = (h0 * e0 + h1 * e1 + h2 * e2) / (rho * w) - (w * dRho) / rho;
    jacobian[i * 9 + column] = (dRho - residual * dW) / w;
  };
  const none = [0, 0, 0];
  write(0, [-xx, -xy, -xz], none);
  write(1, [-xy, -yy, -yz], none);
  write(2, [-xz, -yz, -zz], none);
  write(3, [d0, 0, 0], [y0, 0, 0]);
  write(4, [0, d1, 0], [0, y1, 0]);
  write(5, [0, 0, d2], [0, 0, y2]);
  write(6, [d1, d0, 0], [y1, y0, 0]);
  write(7, [d2, 0, d0], [y2, 0, y0]);
  write(8, [0, d2, d1], [0, y2, y1]);
}
