/**
 * Lambert's azimuthal equal-area projection of half a sphere, centred on the zenith (`up`) or the nadir (`down`), north
 * at the top, east to the right as on a map (both halves are seen from above). The horizon is the circle of radius 1.
 *
 * r = √2 sin(c/2), c the angle from the centre (Snyder 1987, Map projections: a working manual, chapter 24).
 *
 * @param azimuth clockwise from north, degrees
 * @param inclination up positive, degrees
 * @returns x to the right and y down, as SVG has them
 */
export function project(azimuth: number, inclination: number): { x: number; y: number } {
  const fromCentre = ((90 - Math.abs(inclination)) * Math.PI) / 180;
  const r = Math.SQRT2 * Math.sin(fromCentre / 2);
  const a = (azimuth * Math.PI) / 180;
  return { x: r * Math.sin(a), y: -r * Math.cos(a) };
}

/** Which half an aim is drawn on: level aims on the upper one. */
export const half = (inclination: number): 'up' | 'down' => (inclination >= 0 ? 'up' : 'down');

/** Path of a wedge about (0, 0) from `roll` − 45° to `roll` + 45°, clockwise from the top. */
export function wedgePath(roll: number, radius: number): string {
  const point = (angle: number) => {
    const a = (angle * Math.PI) / 180;
    return `${(radius * Math.sin(a)).toFixed(4)} ${(-radius * Math.cos(a)).toFixed(4)}`;
  };
  return `M0 0L${point(roll - 42)}A${radius} ${radius} 0 0 1 ${point(roll + 42)}Z`;
}

const at = (radius: number, angle: number): string => {
  const a = (angle * Math.PI) / 180;
  return `${(radius * Math.sin(a)).toFixed(4)} ${(-radius * Math.cos(a)).toFixed(4)}`;
};

/** Path of the part of a ring between two radii and two angles, clockwise from the top in degrees. */
export function ringPath(inner: number, outer: number, from: number, to: number): string {
  return `M${at(outer, from)}A${outer} ${outer} 0 0 1 ${at(outer, to)}L${at(inner, to)}A${inner} ${inner} 0 0 0 ${at(inner, from)}Z`;
}

/** Path of `count` arcs that share such a part evenly: the more of them, the darker it looks. */
export function arcsPath(
  inner: number,
  outer: number,
  from: number,
  to: number,
  count: number,
): string {
  return Array.from({ length: count }, (_, i) => {
    const r = Number((inner + ((outer - inner) * (i + 0.5)) / count).toFixed(4));
    return `M${at(r, from)}A${r} ${r} 0 0 1 ${at(r, to)}`;
  }).join('');
}
