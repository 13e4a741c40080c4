import { formatImage } from '../../protocol/firmware-image.ts';

/** Firmware for simulated boards, to try a change of firmware with: there is no program in it, only how it behaves. */

export interface MadeUpFirmware {
  /** Of the file. */
  name: string;
  version: string;
  words: string;
  /** The first byte of its program, by which a simulated board behaves. */
  conduct: number;
}

export const MADE_UP_FIRMWARE: readonly MadeUpFirmware[] = [
  {
    name: 'made-up-1.1.lodefw',
    version: '1.1',
    words:
      'healthy; puts settings and coefficients back to the maker’s, so that they have to be restored',
    conduct: 0,
  },
  {
    name: 'made-up-1.2-silent.lodefw',
    version: '1.2 silent',
    words: 'never answers, so that the board has to go back by itself',
    conduct: 1,
  },
];

/** Bytes of the program: enough for the sending to be seen, and little enough not to be waited for. */
const LENGTH = 4000;

/** The file. @param hardware as the board says it in hello */
export function madeUpImage({ version, conduct }: MadeUpFirmware, hardware: string): Uint8Array {
  const program = Uint8Array.from({ length: LENGTH }, (_, i) => (i === 0 ? conduct : i % 251));
  return formatImage({
    hardware,
    version,
    program,
    resetsSettings: true,
    replacesCoefficients: true,
  });
}
