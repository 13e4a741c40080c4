import 'fake-indexeddb/auto';
import { IDBFactory } from 'fake-indexeddb';
import { expect, it } from 'vitest';
import type { Entry } from '../../../src/records/entries.ts';
import { HeldEntries } from '../../../src/records/held-entries.ts';
import { readLogbookFile } from '../../../src/records/logbook-file-reader.ts';
import { openLogbook, type Logbook } from '../../../src/records/logbook.ts';
import type { Note } from '../../../src/records/papers.ts';
import { heldWords, keepingWords, sizeWords } from '../../../src/steps/logbook/keeping-words.ts';
import { Keeping, type BrowserStorage } from '../../../src/steps/logbook/keeping.ts';

const START = Date.UTC(2031, 4, 1, 9);
const DAY = 24 * 60 * 60 * 1000;

/** A browser's storage that answers as it is told, and counts how often it was asked to keep for good. */
class Storage implements BrowserStorage {
  isKept = false;
  asked = 0;
  constructor(private readonly agrees: boolean) {}
  persisted = async () => this.isKept;
  persist = async () => {
    this.asked++;
    return (this.isKept ||= this.agrees);
  };
  estimate = async () => ({ usage: 3_200_000, quota: 10_003_200_000 });
}

class Page {
  day = 0;
  isFull = false;
  readonly indexedDB = new IDBFactory();
  logbook!: HeldEntries;
  keeping!: Keeping;

  constructor(private readonly storage: BrowserStorage | undefined) {}

  static async opened(storage: BrowserStorage | undefined): Promise<Page> {
    const page = new Page(storage);
    await page.reload();
    return page;
  }

  async reload(): Promise<void> {
    const disk = await openLogbook({ indexedDB: this.indexedDB });
    if (!disk.ok) throw new Error(disk.message);
    this.logbook = new HeldEntries(this.#filling(disk));
    this.keeping = new Keeping(this.logbook, this.storage, () => this.today);
  }

  get today(): Date {
    return new Date(START + this.day * DAY);
  }

  /** Writes, and lets what follows from it by itself come to an end. */
  async write(...entries: Entry[]): Promise<void> {
    const written = await this.logbook.append(...entries);
    if (!written.ok) throw new Error(written.message);
    await this.keeping.look();
    await this.keeping.look();
  }

  note(text = 'knocked'): Entry {
    return { kind: 'note', board: 'B1', time: this.today.toISOString(), text };
  }

  #filling(disk: Logbook): Logbook {
    const full = { ok: false, cause: 'quota', message: 'there is no room' } as const;
    return new Proxy(disk, {
      get: (_, name: keyof Logbook) => {
        if (this.isFull && ['append', 'merge', 'write', 'keep'].includes(name))
          return async () => full;
        const member = disk[name];
        return typeof member === 'function' ? member.bind(disk) : member;
      },
    });
  }
}

const linked = { kind: 'board linked', board: 'B1', time: new Date(START).toISOString(), link: '' };

it('asks the browser to keep it for good once there is something worth keeping, and not for a first look', async () => {
  const storage = new Storage(true);
  const page = await Page.opened(storage);
  await page.write({ ...linked, identity: { serial: 'B1' } } as Entry);
  expect(storage.asked).toBe(0);
  await page.write(page.note());
  await page.write(page.note('again'));
  expect(storage.asked).toBe(1);
  expect(page.keeping.state.keeps).toBe('for good');
  expect(keepingWords(page.keeping.state)).toMatchObject({
    keeps: expect.stringMatching(/^Kept for good/),
    room: 'It takes 3.2 MB with the page itself; 10.0 GB more may be used.',
    takenOut: 'The whole logbook was never taken out.',
  });
  expect(keepingWords(page.keeping.state)).not.toHaveProperty('offer');
});

it('does not ask again by itself where the answer was no, and says so; a person may', async () => {
  const storage = new Storage(false);
  const page = await Page.opened(storage);
  await page.write(page.note());
  await page.reload();
  page.day = 1;
  await page.write(page.note());
  expect(storage.asked).toBe(1);
  const { keeps, offer } = keepingWords(page.keeping.state);
  expect(keeps).toMatch(/may clear it.*asked to keep it for good on 1 May 2031.*did not agree/);
  expect(offer).toBe('Ask the browser to keep it for good');
  await page.keeping.ask();
  expect(storage.asked).toBe(2);
});

it('does not ask a browser that keeps it for good already', async () => {
  const storage = new Storage(true);
  storage.isKept = true;
  const page = await Page.opened(storage);
  await page.write(page.note());
  expect(storage.asked).toBe(0);
  expect(page.keeping.state.keeps).toBe('for good');
});

it.each([
  ['has no storage manager', undefined],
  ['has one that cannot say', {}],
  [
    'refuses to say',
    {
      persisted: () => Promise.reject(new TypeError('not here')),
      persist: () => Promise.reject(new TypeError('not here')),
      estimate: () => Promise.reject(new TypeError('not here')),
    },
  ],
])('says that a browser which %s does not say how long it keeps it', async (_, storage) => {
  const page = await Page.opened(storage);
  await page.write(page.note());
  expect(page.keeping.state.keeps).toBe('cannot tell');
  const words = keepingWords(page.keeping.state);
  expect(words.keeps).toMatch(/does not say how long it keeps it/);
  expect(words).not.toHaveProperty('offer');
  expect(words).not.toHaveProperty('room');
});

it('reminds to take everything out after many new entries, until it was', async () => {
  const page = await Page.opened(new Storage(false));
  await page.write(...Array.from({ length: 299 }, () => page.note()));
  expect(page.keeping.state.due).toBeUndefined();
  await page.write(page.note());
  expect(page.keeping.state.due).toEqual({ entries: 300, days: 0 });
  expect(keepingWords(page.keeping.state).reminder).toMatch(/^300 new entries came in a day/);
  await page.keeping.wasTakenOut(300);
  expect(page.keeping.state.due).toBeUndefined();
  expect(keepingWords(page.keeping.state).takenOut).toMatch(/1 May 2031.*with 300 entries/);
  await page.reload();
  await page.write(...Array.from({ length: 299 }, () => page.note()));
  expect(page.keeping.state.due).toBeUndefined();
  await page.write(page.note());
  expect(page.keeping.state.due).toEqual({ entries: 300, days: 0 });
});

it('reminds to take out even little after a month, but not where nothing came or it is kept for good', async () => {
  const storage = new Storage(false);
  const page = await Page.opened(storage);
  await page.write(page.note());
  page.day = 29;
  await page.keeping.look();
  expect(page.keeping.state.due).toBeUndefined();
  page.day = 30;
  await page.keeping.look();
  expect(page.keeping.state.due).toEqual({ entries: 1, days: 30 });
  await page.keeping.wasTakenOut(1);
  page.day = 90;
  await page.keeping.look();
  expect(page.keeping.state.due).toBeUndefined();
  await page.write(page.note());
  expect(page.keeping.state.due).toEqual({ entries: 1, days: 60 });
  storage.isKept = true;
  await page.keeping.look();
  expect(page.keeping.state.due).toBeUndefined();
});

it('warns while entries are only in memory, and gives them as a file that brings them back', async () => {
  const page = await Page.opened(new Storage(true));
  await page.write(page.note('on disk'));
  expect(heldWords(page.keeping.state)).toBeUndefined();
  page.isFull = true;
  await page.write(page.note('first held'));
  expect(heldWords(page.keeping.state)?.heading).toMatch(/1 entry only in the memory/);
  await page.write(page.note('second held'));
  const words = heldWords(page.keeping.state);
  expect(words?.heading).toMatch(/2 entries only in the memory of this page/);
  expect(words?.words).toMatch(/Closing or reloading this page loses them/);
  const { name, content } = await page.keeping.heldAsFile();
  expect(name).toMatch(/\.json$/);

  await page.reload(); // and so they are lost here
  page.isFull = false;
  expect(await page.logbook.entriesOfBoard('B1')).toHaveLength(1);
  const file = await readLogbookFile(new TextEncoder().encode(content));
  if (!file.ok) throw new Error(JSON.stringify(file));
  expect(await page.logbook.merge(file.entries)).toEqual({ ok: true, added: 2, already: 0 });
  const back = await page.logbook.entriesOfBoard('B1');
  expect(back.map((entry) => entry.kind === 'note' && entry.text)).toEqual([
    'on disk',
    'first held',
    'second held',
  ]);
});

it('counts notes that are only in memory, and gives them in the same file', async () => {
  const page = await Page.opened(new Storage(true));
  page.isFull = true;
  const note: Note = {
    id: 'a'.repeat(32),
    paper: 'b'.repeat(32),
    of: 'workshop',
    time: page.today.toISOString(),
    body: { kind: 'workshop remark', text: 'cold hands' },
  };
  await page.logbook.write(note);
  expect(page.keeping.state).toMatchObject({ held: 1, isHolding: true });
  const { content } = await page.keeping.heldAsFile();
  const file = await readLogbookFile(new TextEncoder().encode(content));
  expect(file.ok && file.notes).toEqual([note]);
  page.isFull = false;
  await page.write(page.note());
  expect(page.keeping.state).toMatchObject({ held: 0, isHolding: false });
  expect(await page.logbook.notesOf(note.paper)).toEqual([note]);
});

it('stops warning as soon as everything is on disk', async () => {
  const page = await Page.opened(new Storage(true));
  page.isFull = true;
  await page.write(page.note());
  expect(page.keeping.state).toMatchObject({ held: 1, isHolding: true });
  page.isFull = false;
  await page.write(page.note());
  await page.logbook.keep('any', 1); // in its turn after the values that were held
  expect(page.keeping.state).toMatchObject({ held: 0, isHolding: false });
  expect(heldWords(page.keeping.state)).toBeUndefined();
});

it.each([
  [0, '0 bytes'],
  [999, '999 bytes'],
  [1000, '1.0 kB'],
  [123_456_789, '123 MB'],
  [5e15, '5000 TB'],
])('says %d bytes as %s', (bytes, words) => {
  expect(sizeWords(bytes)).toBe(words);
});
