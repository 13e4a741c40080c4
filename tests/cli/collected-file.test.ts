import { existsSync, mkdirSync, readFileSync, rmSync, symlinkSync } from 'node:fs';
import { expect, test } from 'vitest';
import { CollectedFile } from '../../src/cli/collected-file.ts';
import type { BoardIdentity, BoardReading } from '../../src/protocol/board.ts';
import { cubePlanInDegrees } from '../../src/steps/customary-plan.ts';
import { scratch } from './command.ts';

const path = scratch();
const plan = cubePlanInDegrees();
const board = { serial: 'SIM-1', accScale: 16384, magScale: 3400 } as BoardIdentity;
const reading = { reading: 1, acc: [1, 2, 3], mag: [4, 5, 6] } as unknown as BoardReading;

test('a folder that is not there is found out before any reading is taken', () => {
  const open = () => CollectedFile.at(path('no/such/readings.csv'), plan);
  expect(open).toThrow(/no such file or folder.+no reading was taken.+give another name/);
  expect(open).not.toThrow(/room/);
});

test('a file that can be written leaves nothing behind until there is a reading', () => {
  const file = CollectedFile.at(path('fresh.csv'), plan);
  expect([existsSync(path('fresh.csv')), existsSync(path('fresh.csv.new'))]).toEqual([
    false,
    false,
  ]);
  file.from(board, 0);
  file.add(reading, file.openPlaces()[0]!);
  expect(readFileSync(path('fresh.csv'), 'utf8')).toContain('\n1,');
});

test('room is asked for where the disk is full, and only there', () => {
  mkdirSync(path('full'));
  const file = CollectedFile.at(path('full/readings.csv'), plan);
  file.from(board, 0);
  const add = () => file.add(reading, file.openPlaces()[0]!);
  symlinkSync('/dev/full', path('full/readings.csv.new'));
  expect(add).toThrow(/disk is full.+Reading 1 is not in it, but still on the board. Make room/);
  rmSync(path('full'), { recursive: true });
  expect(add).toThrow(/Reading 1 is not in it, but still on the board. See that it can be written/);
  expect(file.count).toBe(0);
});
