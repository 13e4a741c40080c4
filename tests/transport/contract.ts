import { afterEach, describe, expect, test } from 'vitest';
import type { ByteLink, LinkError, LinkListener } from '../../src/protocol/link.ts';

/** A link made ready for the contract, and what the contract needs to know of its far end. */
export interface LinkUnderTest {
  link: ByteLink;
  /** What the far end answers, and the beginning of its answer. */
  probe: { send: Uint8Array; answer: string };
  /** Ends the link from the far end, as a pulled plug does; the far end can be reached again afterwards. */
  drop(): Promise<void>;
  /** Awaits work on the clock that the far end runs on. */
  run<T>(work: Promise<T>): Promise<T>;
  /** Lets what is on its way arrive. */
  settle(): Promise<void>;
  /** Frees what the link was tested with. */
  end(): void;
}

/** A listener that keeps what it hears. */
export class Ear implements LinkListener {
  chunks: Uint8Array[] = [];
  endings: LinkError[] = [];
  /** What was heard when the link said that it had ended. */
  heardBefore = '';
  bytes(chunk: Uint8Array): void {
    this.chunks.push(chunk);
  }
  closed(end: LinkError): void {
    this.heardBefore = this.text;
    this.endings.push(end);
  }
  get text(): string {
    return this.chunks.map((chunk) => new TextDecoder().decode(chunk)).join('');
  }
}

/** What every byte link must do, whatever it runs over. */
export function byteLinkContract(
  name: string,
  make: () => LinkUnderTest | Promise<LinkUnderTest>,
): void {
  describe(`${name} is a byte link:`, () => {
    let made: LinkUnderTest | undefined;
    afterEach(async () => {
      await made?.run(made.link.close());
      made?.end();
      made = undefined;
    });

    const start = async () => (made = await make());
    const opened = async () => {
      const under = await start();
      const ear = new Ear();
      await under.run(under.link.open(ear));
      return { ...under, ear };
    };
    const answers = async ({ link, probe, run, settle }: LinkUnderTest, ear: Ear) => {
      const before = ear.text.length;
      await run(link.write(probe.send));
      await settle();
      return ear.text.slice(before).includes(probe.answer);
    };

    test('it says what it is', async () => {
      const { link } = await start();
      expect(link.label).not.toBe('');
    });

    test('what is written is answered', async () => {
      const under = await opened();
      expect(await answers(under, under.ear)).toBe(true);
      expect(under.ear.endings).toEqual([]);
    });

    test('nothing arrives in the call that writes', async () => {
      const { link, probe, ear, run } = await opened();
      const writing = link.write(probe.send);
      expect(ear.chunks).toEqual([]);
      await run(writing);
    });

    test('bytes written one by one arrive in order', async () => {
      const { link, probe, ear, run, settle } = await opened();
      const writes = Array.from(probe.send, (byte) => link.write(Uint8Array.of(byte)));
      await run(Promise.all(writes));
      await settle();
      expect(ear.text).toContain(probe.answer);
    });

    test('the caller may use its array again once it has written', async () => {
      const { link, probe, ear, run, settle } = await opened();
      const mine = probe.send.slice();
      await run(link.write(mine));
      mine.fill(0);
      await settle();
      expect(ear.text).toContain(probe.answer);
    });

    test('what arrives is the listener’s own: no two chunks share memory', async () => {
      const under = await opened();
      await answers(under, under.ear);
      await answers(under, under.ear);
      const before = under.ear.text;
      for (const chunk of under.ear.chunks) expect(chunk.byteLength).toBeGreaterThan(0);
      const copies = under.ear.chunks.map((chunk) => chunk.slice());
      under.ear.chunks[0]!.fill(0);
      copies[0]!.fill(0);
      expect(under.ear.chunks).toEqual(copies);
      expect(before).not.toBe(under.ear.text);
    });

    test('to write before opening is refused', async () => {
      const { link, probe, run } = await start();
      await expect(run(link.write(probe.send))).rejects.toMatchObject({ cause: 'closed' });
    });

    test('to open what is open is refused, and harms nothing', async () => {
      const under = await opened();
      const second = new Ear();
      await expect(under.run(under.link.open(second))).rejects.toMatchObject({ cause: 'in_use' });
      expect(await answers(under, under.ear)).toBe(true);
      expect(second.chunks).toEqual([]);
    });

    test('closed by its opener, it says nothing more, not even that it is closed', async () => {
      const { link, probe, ear, run, settle } = await opened();
      await run(link.write(probe.send));
      await run(link.close());
      const heard = ear.text;
      await settle();
      expect(ear.text).toBe(heard);
      expect(ear.endings).toEqual([]);
    });

    test('to close twice, or without opening, is no harm', async () => {
      const { link, run, ear } = await opened();
      await run(Promise.all([link.close(), link.close()]));
      await run(link.close());
      expect(ear.endings).toEqual([]);
      const other = await make();
      await other.run(other.link.close());
      other.end();
    });

    test('to write after closing is refused', async () => {
      const { link, probe, run } = await opened();
      await run(link.close());
      await expect(run(link.write(probe.send))).rejects.toMatchObject({ cause: 'closed' });
    });

    test('it opens again after closing, for a new listener, and the old one hears nothing', async () => {
      const under = await opened();
      expect(await answers(under, under.ear)).toBe(true);
      await under.run(under.link.close());
      const heard = under.ear.text;
      const ear = new Ear();
      await under.run(under.link.open(ear));
      expect(await answers(under, ear)).toBe(true);
      expect(under.ear.text).toBe(heard);
    });

    test('when the far end drops it, the listener is told once, in words, and writing is refused', async () => {
      const { link, probe, ear, run, drop, settle } = await opened();
      await drop();
      await settle();
      expect(ear.endings).toHaveLength(1);
      expect(ear.endings[0]).toMatchObject({ name: 'LinkError', cause: 'gone' });
      expect(ear.endings[0]!.message).not.toBe('');
      await expect(run(link.write(probe.send))).rejects.toMatchObject({ cause: 'closed' });
      await run(link.close());
      expect(ear.endings).toHaveLength(1);
    });

    test('it opens again after it was dropped', async () => {
      const under = await opened();
      await under.drop();
      await under.settle();
      const ear = new Ear();
      await under.run(under.link.open(ear));
      expect(await answers(under, ear)).toBe(true);
      expect(ear.endings).toEqual([]);
    });

    test('two at once: each carries its own, and one that is closed leaves the other be', async () => {
      const one = await opened();
      const other = await make();
      try {
        const ear = new Ear();
        await other.run(other.link.open(ear));
        expect(await answers(one, one.ear)).toBe(true);
        await other.settle();
        expect(ear.text).toBe('');
        const heard = one.ear.text;
        expect(await answers(other, ear)).toBe(true);
        await one.settle();
        expect(one.ear.text).toBe(heard);

        await one.run(one.link.close());
        expect(await answers(other, ear)).toBe(true);
        expect(ear.endings).toEqual([]);
      } finally {
        await other.run(other.link.close());
        other.end();
      }
    });

    test('closed while it opens, it is closed, whatever the opener is told, and opens again', async () => {
      const { link, probe, run, settle, ...under } = await start();
      const ear = new Ear();
      const opening = link.open(ear).then(
        () => 'closed after it had opened',
        ({ cause }: LinkError) => cause,
      );
      await run(link.close());
      expect(await run(opening)).toMatch('closed');
      await expect(run(link.write(probe.send))).rejects.toMatchObject({ cause: 'closed' });
      await settle();
      expect(ear.chunks).toEqual([]);
      expect(ear.endings).toEqual([]);

      const later = new Ear();
      await run(link.open(later));
      expect(await answers({ link, probe, run, settle, ...under }, later)).toBe(true);
    });

    test('closed with writes on their way, none of them waits for ever', async () => {
      const { link, probe, run } = await opened();
      const writes = Array.from({ length: 20 }, () =>
        link.write(probe.send).catch((error: unknown) => error),
      );
      await run(link.close());
      for (const outcome of await run(Promise.all(writes))) {
        if (outcome !== undefined) expect(outcome).toMatchObject({ cause: 'closed' });
      }
    });

    test('dropped with an answer on its way, it passes nothing on after saying that it ended', async () => {
      const { link, probe, ear, run, drop, settle } = await opened();
      await run(link.write(probe.send));
      await drop();
      await settle();
      expect(ear.endings).toHaveLength(1);
      expect(ear.text).toBe(ear.heardBefore);
    });
  });
}
