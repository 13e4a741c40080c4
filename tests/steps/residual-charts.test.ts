import { describe, expect, test } from 'vitest';
import { DECLARED, simulateCalibration } from '../../bench/simulated-calibration.ts';
import { fit } from '../../src/calib/fit.ts';
import { degrees } from '../../src/calib/geometry.ts';
import { cubePlanInDegrees } from '../../src/steps/customary-plan.ts';
import { residualChart, RESIDUAL_KINDS, spreadChart } from '../../src/steps/residual-charts.ts';

const { readings } = simulateCalibration({ seed: 51 });

function fitted(given = readings) {
  const result = fit(given, DECLARED);
  if (!result.ok) throw new Error(result.message);
  return result;
}

const ordinary = fitted();

describe('a chart of residuals', () => {
  test('in the order of taking has each reading at its place, in the unit of the axis', () => {
    const { series, table, limits } = residualChart(ordinary, 'gravity', 'order');
    expect(series.map(({ points }) => points.length)).toEqual([56, 56, 56]);
    const [, second] = ordinary.readings;
    const scale = ordinary.coefficients.accScale;
    expect(series[1]!.points[1]).toMatchObject({ x: 2, name: `reading ${second!.id}` });
    expect(series[1]!.points[1]!.y).toBeCloseTo((1000 * second!.accResidual![1]) / scale, 9);
    expect(limits!.at[1]).toBeCloseTo((2000 * ordinary.noise.acc) / scale, 9);
    expect(table.rows).toHaveLength(56);
    expect(table.columns).toHaveLength(4);
  });

  test.each(['azimuth', 'inclination', 'roll'] as const)('by %s has it there, degrees', (angle) => {
    const { series, table } = residualChart(ordinary, 'field', angle);
    const seen = ordinary.readings.filter((reading) => reading[angle] !== undefined);
    expect(series[0]!.points.map(({ x }) => x)).toEqual(
      seen.map((reading) => degrees(reading[angle]!)),
    );
    expect(table.columns[1]).toMatch(new RegExp(angle, 'i'));
  });

  test('a reading that the fit left out keeps its place in the order, and has no point', () => {
    const bent = readings.map((reading, i) =>
      i === 9
        ? { ...reading, mag: reading.mag.map((count) => count * 1.1) as [number, number, number] }
        : reading,
    );
    const result = fitted(bent);
    expect(result.setAside.map(({ id }) => id)).toEqual(['10']);
    const { points } = residualChart(result, 'field', 'order').series[0]!;
    expect(points).toHaveLength(55);
    expect(points.map(({ x }) => x)).not.toContain(10);
    expect(points.at(-1)).toMatchObject({ x: 56 });
    expect(
      spreadChart(result, []).table.rows.find(([name]) => name === readings[9]!.sighting),
    ).toEqual(
      // prettier-ignore
      expect.arrayContaining(['3', '3 of 4; 1 left out']),
    );
  });

  test.each(RESIDUAL_KINDS.map(({ kind }) => kind))(
    '%s: its words tell the largest figure, of which reading, and what is normal',
    (kind) => {
      const { series, words } = residualChart(ordinary, kind, 'order');
      const points = series.flatMap((each) => each.points);
      const worst = points.reduce((a, b) => (Math.abs(b.y) > Math.abs(a.y) ? b : a));
      expect(words).toContain(`of ${worst.name}.`);
      expect(words).toMatch(/normal/);
      expect(words).not.toMatch(/NaN|undefined/);
    },
  );

  test.each(
    RESIDUAL_KINDS.flatMap(({ kind }) =>
      (['order', 'azimuth', 'inclination', 'roll'] as const).map((along) => [kind, along] as const),
    ),
  )('%s by %s: its table says every point that is drawn, and nothing else', (kind, along) => {
    const { series, table } = residualChart(ordinary, kind, along);
    const first = table.columns.length - series.length;
    const number = (cell: string) => Number(cell.replace('−', '-'));
    series.forEach(({ points }, i) => {
      const cells = table.rows.flatMap((row) =>
        row[first + i] === '–' || row[first - 1] === '–' ? [] : [row],
      );
      expect(cells.map(([id]) => `reading ${id}`)).toEqual(points.map(({ name }) => name));
      points.forEach(({ x, y }, n) => {
        expect(Math.abs(number(cells[n]![first + i]!) - y)).toBeLessThanOrEqual(0.00501); // two digits
        if (first === 2) expect(Math.abs(number(cells[n]![1]!) - x)).toBeLessThanOrEqual(0.0501);
      });
    });
  });

  test('about one figure in twenty, at most, is beyond the lines of an ordinary board', () => {
    const { series, limits } = residualChart(ordinary, 'field', 'order');
    const points = series.flatMap((each) => each.points);
    const beyond = points.filter(({ y }) => Math.abs(y) > limits!.at[1]!);
    expect(beyond.length / points.length).toBeLessThan(0.06);
  });
});

describe('the chart of spreads', () => {
  test('has each sighting with its n, its line, and whether the fit saw all of it', () => {
    const { table, series, words } = spreadChart(ordinary, cubePlanInDegrees().sightings);
    expect(table.rows).toHaveLength(14);
    expect(table.rows.every(([, , n, , seen]) => n === '4' && seen === 'all of them')).toBe(true);
    expect(series[0]!.points[2]!.y).toBeCloseTo(degrees(ordinary.sightings[2]!.spread!), 12);
    const over = ordinary.sightings.filter(({ spread }) => degrees(spread!) > 0.5);
    expect(over.map(({ sighting }) => sighting)).toEqual(['11']);
    expect(table.rows.map(([, , , spread]) => spread)).toEqual(
      series[0]!.points.map(({ y }) => `${y.toFixed(3)}°`),
    );
    expect(words).toMatch(/^14 sightings, 1 of them \(sighting 11\) over 0\.5°/);
  });

  test('a sighting of one reading has no spread, and says why', () => {
    const one = { ...ordinary, sightings: [{ sighting: 'A', n: 1 }] };
    const { table, series, words } = spreadChart(one, []);
    expect(series[0]!.points).toEqual([]);
    expect(table.rows[0]![3]).toBe('none: it takes two');
    expect(words).toMatch(/nothing says how well they agree/);
  });
});
