/**
 * The byte link that a conversation runs over. Transports implement it; they carry bytes and know no commands.
 */

/** What a link tells the one who opened it. Never called before `open` was, nor after `closed`. */
export interface LinkListener {
  /** Bytes arrived, in order, cut anywhere. The array is the listener's own to keep. */
  bytes(chunk: Uint8Array): void;
  /** The link ended by itself: unplugged, out of range, board gone. Not called after `close()`. */
  closed(reason: string): void;
}

export interface ByteLink {
  /** What a person would call this link, such as "simulated board" or "serial port". */
  readonly label: string;
  /** Opens, or opens again after it closed. Rejects with the reason in words. */
  open(listener: LinkListener): Promise<void>;
  /** Sends bytes in order; resolves when the link has taken them. Rejects when the link is closed. */
  write(bytes: Uint8Array): Promise<void>;
  /** Ends the link and frees whatever it holds. Safe to call twice. */
  close(): Promise<void>;
}
