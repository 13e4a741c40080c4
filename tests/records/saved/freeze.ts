import { writeFileSync } from 'node:fs';
import { IDBFactory } from 'fake-indexeddb';
import { format } from 'prettier';
import { BenchInProcess } from '../../steps/bench-in-process.ts';
import { saved } from './indexed-database.ts';

/**
 * Writes down the database as the code of this tree leaves it after work on two simulated boards, for the tests that
 * bring forward what people have: `npx tsx tests/records/saved/freeze.ts`. To be run in the tree whose version is to be
 * frozen, before the database gets its next one; what was written is never changed later. Version 1 was frozen in the
 * tree of commit 4197147, with this folder laid into it; version 2 in that of c11d0f0.
 */

const factories: IDBFactory[] = [];
const open = IDBFactory.prototype.open;
IDBFactory.prototype.open = function (...how) {
  factories.push(this);
  return open.apply(this, how);
};

const on = await BenchInProcess.opened();
await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove', 'end');
on.bench.linkAnother();
await on.ask('link', 'begin', 'take sighting', 'take one');
const { trouble, history } = on.state;
if (trouble || history.calibration?.readings.length !== 5) throw new Error('the work went wrong');

const database = await saved(factories[0]!, 'lodebench');
const file = new URL(`version-${database.version}.json`, import.meta.url);
writeFileSync(file, await format(JSON.stringify(database), { parser: 'json', printWidth: 1e6 }));
