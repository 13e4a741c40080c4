import type { SimulatedBoard } from '../../firmware-sim/board.ts';
import type { Clock } from '../protocol/clock.ts';
import type { ByteLink } from '../protocol/link.ts';
import { inProcessBoard } from './in-process.ts';
import type { ChannelEnd, FromWorker, SimulatorCall, ToWorker } from './simulator-channel.ts';

/** Runs one simulated board for whoever is at the other end of the channel. */
export function serveSimulator(channel: ChannelEnd, clock: Clock): void {
  let running: { board: SimulatedBoard; link: ByteLink } | undefined;
  let open = 0;
  const tell = (message: FromWorker): void => channel.postMessage(message);

  const link = (opening: number): ByteLink => {
    if (opening !== open) throw new Error('the link to the simulated board is closed');
    return running!.link;
  };

  async function carryOut(call: SimulatorCall): Promise<unknown> {
    if (call.method === 'start') {
      const { settings, saved, captureMs } = call;
      running = inProcessBoard(settings, clock, {
        onMemory: (image) => tell({ kind: 'memory', image }),
        ...(saved && { saved }),
        ...(captureMs === undefined ? {} : { build: { captureMs } }),
      });
      return undefined;
    }
    if (!running) throw new Error('the simulated board was not started');
    const { board } = running;
    switch (call.method) {
      case 'open': {
        const { opening } = call;
        await running.link.open({
          bytes: (bytes) => tell({ kind: 'bytes', opening, bytes }),
          closed: ({ message }) => tell({ kind: 'closed', opening, reason: message }),
        });
        open = opening;
        return undefined;
      }
      case 'write':
        return link(call.opening).write(call.bytes);
      case 'close':
        return call.opening === open ? running.link.close() : undefined;
      case 'hold':
        return board.hold(call.aim);
      case 'walk':
        return board.walk(call.metres);
      case 'press':
        return board.press();
      case 'settings':
        return board.settings();
      case 'adjust':
        return board.adjust(call.change);
      case 'truth':
        return board.truth(call.count);
    }
  }

  channel.onmessage = ({ data }: MessageEvent<ToWorker>) => {
    carryOut(data.call).then(
      (value) => tell({ kind: 'done', id: data.id, value }),
      (error: unknown) =>
        tell({
          kind: 'failed',
          id: data.id,
          reason: error instanceof Error ? error.message : String(error),
        }),
    );
  };
}
