/**
 * The byte link that a conversation runs over. Transports implement it; they carry bytes and know no commands.
 */

/** Why a link cannot be opened, or ended: a closed set, the same for every kind of link. */
export type LinkCause =
  /** This browser or machine has no such links at all. */
  | 'unsupported'
  /** It could have, but the radio is off or absent, or the system hides it. */
  | 'switched_off'
  /** The person closed the chooser without choosing. */
  | 'none_chosen'
  /** The person, the browser or a policy said no. */
  | 'not_permitted'
  /** The operating system does not let this user open it. */
  | 'no_rights'
  /** Another page or program has it. */
  | 'in_use'
  /** It was found and does not answer: asleep, out of reach, or linked to something else. */
  | 'unreachable'
  /** It answers, and is no board: it has no byte link of a kind known here. */
  | 'no_board'
  /** It was there and is not any more: unplugged, out of reach, or ended at the far end. */
  | 'gone'
  /** It is closed: nothing can be sent before it is opened again. */
  | 'closed'
  /** Anything else; the reason has the system's own words. */
  | 'failed';

/** The only error that a link rejects with, or ends with. The message is a clause: "the port is in use elsewhere". */
export class LinkError extends Error {
  override readonly name = 'LinkError';

  constructor(
    override readonly cause: LinkCause,
    reason: string,
  ) {
    super(reason);
  }
}

/** What a link tells the one who opened it. Never called before `open` was, nor after `closed`. */
export interface LinkListener {
  /** Bytes arrived, in order, cut anywhere. The array is the listener's own to keep. */
  bytes(chunk: Uint8Array): void;
  /** The link ended by itself: unplugged, out of range, board gone. Not called after `close()`. */
  closed(end: LinkError): void;
}

export interface ByteLink {
  /** What a person would call this link, such as "simulated board" or "serial port". */
  readonly label: string;
  /** Opens, or opens again after it ended or was closed. Rejects with a {@link LinkError}. */
  open(listener: LinkListener): Promise<void>;
  /** Sends bytes in order; resolves when the link has taken them. Rejects with a {@link LinkError}. */
  write(bytes: Uint8Array): Promise<void>;
  /** Ends the link and frees whatever it holds. Safe to call twice. */
  close(): Promise<void>;
  /**
   * Calls `listener` whenever the system says that the far end of a link that ended is there again, so that opening may
   * succeed without a person; until the returned function is called. Absent where the system never says so.
   */
  onReturn?(listener: () => void): () => void;
  /**
   * Tells a link that was opened whether the board which answers is the one that it is for. A link that can know its
   * board only by the make keeps what it has found, or tries another next time. Absent where there is no doubt.
   */
  confirm?(isIts: boolean): void;
}

/** A kind of link that this browser or machine may have, and how a person picks one of that kind. */
export interface LinkKind {
  /** What a person would call it: "USB cable", "Bluetooth". */
  readonly label: string;
  /**
   * Why none of this kind can be had here: `unsupported` or `switched_off`, or `failed` where the browser answers nothing
   * any more; nothing where they can.
   */
  missing(): Promise<LinkError | undefined>;
  /**
   * Lets the person pick one. Call it in the gesture itself, before any await: browsers demand it. Rejects with a
   * {@link LinkError}, `none_chosen` among them.
   */
  choose(): Promise<ByteLink>;
  /** Those picked earlier that the browser gives back without asking. */
  permitted(): Promise<readonly ByteLink[]>;
}
