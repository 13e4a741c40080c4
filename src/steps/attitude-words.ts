/** Attitudes in words, as one person would say them to another. Degrees. */

// with hyphens that do not break across lines
const POINTS = [
  'north',
  'north‑east',
  'east',
  'south‑east',
  'south',
  'south‑west',
  'west',
  'north‑west',
];

/** A line in words, such as "north-east, 35° up" or "straight down". */
export function lineWords({ azimuth, inclination }: { azimuth: number; inclination: number }) {
  if (inclination > 85) return 'straight up';
  if (inclination < -85) return 'straight down';
  const eighth = azimuth / 45;
  const point =
    Math.abs(eighth - Math.round(eighth)) < 0.02
      ? POINTS[Math.round(eighth) % 8]
      : `${Math.round(azimuth)}°`;
  const tilt = Math.round(Math.abs(inclination));
  return `${point}, ${tilt === 0 ? 'level' : `${tilt}° ${inclination > 0 ? 'up' : 'down'}`}`;
}

/** A roll in words: how the instrument is turned about the sight, as the person aiming sees it. */
export function rollWords(roll: number): string {
  switch (((Math.round(roll) % 360) + 360) % 360) {
    case 0:
      return 'upright';
    case 90:
      return 'rolled a quarter right';
    case 180:
      return 'upside down';
    case 270:
      return 'rolled a quarter left';
    default:
      return `rolled ${Math.round(roll)}° right`;
  }
}
