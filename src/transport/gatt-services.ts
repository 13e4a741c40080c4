/**
 * The Bluetooth services that carry a byte link, and nothing else knows their UUIDs: bytes go to the board by writing one
 * characteristic, and come from it as notifications of another (SPEC.md, section 3.1).
 */
export interface UartService {
  readonly service: string;
  /** The characteristic the host writes. */
  readonly toBoard: string;
  /** The characteristic that notifies the host. */
  readonly fromBoard: string;
}

/** Our own: drawn at random, but for the four digits that count. */
export const BOARD_UART: UartService = {
  service: '61cd0001-cc56-435e-80aa-aad7273c280d',
  toBoard: '61cd0002-cc56-435e-80aa-aad7273c280d',
  fromBoard: '61cd0003-cc56-435e-80aa-aad7273c280d',
};

/** The one that is widely used for serial text over Bluetooth, and ready-made for many chips. */
export const COMMON_UART: UartService = {
  service: '6e400001-b5a3-f393-e0a9-e50e24dcca9e',
  toBoard: '6e400002-b5a3-f393-e0a9-e50e24dcca9e',
  fromBoard: '6e400003-b5a3-f393-e0a9-e50e24dcca9e',
};

/** Those a board may have; where it has both, the first is taken. */
export const UART_SERVICES: readonly UartService[] = [BOARD_UART, COMMON_UART];
