import 'fake-indexeddb/auto';
import { IDBFactory } from 'fake-indexeddb';
import { expect, it } from 'vitest';
import { Blocked, openDatabase, type Upgrade } from '../../src/records/database.ts';

const first: Upgrade = (database) => {
  database.createObjectStore('shelf');
};
const second: Upgrade = (database, transaction) => {
  database.createObjectStore('drawer');
  transaction.objectStore('shelf').createIndex('colour', 'colour');
};

function ask<T>(request: IDBRequest<T>): Promise<T> {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

it('brings an older database up to date and keeps what lies in it', async () => {
  const factory = new IDBFactory();
  const old = await openDatabase(factory, 'x', [first]);
  await ask(
    old.transaction('shelf', 'readwrite').objectStore('shelf').put({ colour: 'red' }, 'key'),
  );
  old.close();
  const now = await openDatabase(factory, 'x', [first, second]);
  expect(now.version).toBe(2);
  expect([...now.objectStoreNames]).toEqual(['drawer', 'shelf']);
  const index = now.transaction('shelf').objectStore('shelf').index('colour');
  expect(await ask(index.get('red'))).toEqual({ colour: 'red' });
});

it('goes back to the old version whole when a step fails', async () => {
  const factory = new IDBFactory();
  (await openDatabase(factory, 'x', [first])).close();
  const failing: Upgrade = (database, transaction) => {
    database.createObjectStore('half done');
    transaction.abort();
  };
  await expect(openDatabase(factory, 'x', [first, failing])).rejects.toThrow();
  const old = await openDatabase(factory, 'x', [first]);
  expect(old.version).toBe(1);
  expect([...old.objectStoreNames]).toEqual(['shelf']);
});

it('says that another connection holds an older version open, and changes nothing once it lets go', async () => {
  const factory = new IDBFactory();
  const holder = await openDatabase(factory, 'x', [first]);
  await expect(openDatabase(factory, 'x', [first, second])).rejects.toThrow(Blocked);
  holder.close();
  const again = await openDatabase(factory, 'x', [first]);
  expect(again.version).toBe(1);
});
