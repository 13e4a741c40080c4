import type { LinkCause } from '../protocol/link.ts';

/**
 * What to say when a link cannot be had or ends: for every cause, every kind of link and every operating system what
 * happened, what is safe, and what to do next. One table of words; nothing here knows a browser.
 */

/** The kinds of link that the bench offers, by name. */
export const KINDS = ['serial', 'bluetooth', 'socket', 'simulated'] as const;
export type KindName = (typeof KINDS)[number];

export const SYSTEMS = ['linux', 'windows', 'mac', 'android', 'ios', 'chromeos'] as const;
/** The operating system that the page runs on, as far as it can be guessed. */
export type System = (typeof SYSTEMS)[number];

export interface LinkHelp {
  heading: string;
  /** What happened, as a sentence. */
  happened: string;
  /** What is safe, as a sentence. */
  safe: string;
  /** What to do next, the likeliest first; each a sentence or two. */
  next: readonly string[];
}

/** What a person would call each kind, and the words of its offer. */
export const KIND_WORDS: Record<KindName, { label: string; offer: string; words: string }> = {
  serial: {
    label: 'USB cable',
    offer: 'Link by USB cable',
    words: 'A board on a cable, or behind a serial adapter. The browser asks which port.',
  },
  bluetooth: {
    label: 'Bluetooth',
    offer: 'Link by Bluetooth',
    words: 'A board near by that is on and not linked to anything else. The browser asks which.',
  },
  socket: {
    label: 'Address',
    offer: 'Link by address',
    words: 'A board that a program on this machine serves on a WebSocket.',
  },
  simulated: {
    label: 'Simulated board',
    offer: 'Link the simulated board',
    words: 'It stands in for a real one: try the whole of the work on it, with nothing at risk.',
  },
};

/** The same for all systems, or for each its own; absent where nothing is said on a system. */
type Advice = string | Partial<Record<System, string>>;

interface Words {
  heading: string;
  safe: string;
  happened: Record<KindName, string>;
  next: Record<KindName, readonly Advice[]>;
}

const NOTHING_SENT = 'Nothing was sent to any board, and what is recorded is safe.';
const WORK_KEPT =
  'Readings already here are safe, and so are those in the board’s memory: they are fetched at the next link.';

const onAll = (words: string): Record<System, string> => ({
  linux: words,
  windows: words,
  mac: words,
  android: words,
  ios: words,
  chromeos: words,
});

const WITHOUT_LINK = 'Readings that are in a file need no link at all: the command line fits them.';
const LINK_AGAIN = 'Then link again.';
const STOP_OTHERS =
  'Close other pages and programs that may have it: another tab with this page, a serial terminal, a tool that loads firmware.';
const OTHER_PORT =
  'Try another cable, one that carries data and not only power, and another socket.';
const RELOAD = 'If it happens again, reload this page: the work stands where it is now.';
const NO_SUCH_SIMULATED = 'Reload this page; if it happens again, please report it.';
const SECURE_PAGE =
  'A page gets it only over https or from localhost: look at the address of this one.';

const ABSENT_BLUETOOTH: readonly Advice[] = [
  'A board that is not in the list may be asleep, or linked to a phone or another program already: wake it, end the other link, and look again.',
  {
    android:
      'Allow the browser to find devices near by (in the system’s settings, and location where it asks for that), and switch Bluetooth on.',
    mac: 'Allow the browser to use Bluetooth in the system’s privacy settings.',
    windows:
      'A board that was paired with the system may be hidden: remove it there, and look again.',
    linux: 'See whether the system itself finds it: run “bluetoothctl scan on” for some seconds.',
    chromeos: 'See whether Bluetooth is on in the quick settings.',
    ios: 'Browsers on this system have no such list.',
  },
];

const ABSENT_SERIAL: readonly Advice[] = [
  'A board that is not in the list may be off, asleep, or on a cable that carries power alone: wake it, try another cable, and look again.',
  {
    linux: 'See whether the system finds it: “ls /dev/ttyACM* /dev/ttyUSB*” lists the ports.',
    windows:
      'See whether the device manager lists it under ports; an adapter may need its maker’s driver.',
    mac: 'See whether “ls /dev/tty.usb*” lists it; an adapter may need its maker’s driver.',
    chromeos: 'Some Chromebooks ask whether Linux shall have it: leave it to the browser.',
    android: 'Few browsers on Android reach a cable: link by Bluetooth, or use a computer.',
    ios: 'No browser on this system reaches a cable: use a computer.',
  },
];

const TABLE: Record<LinkCause, Words> = {
  unsupported: {
    heading: 'No such link in this browser',
    safe: NOTHING_SENT,
    happened: {
      serial: 'This browser gives pages no serial ports.',
      bluetooth: 'This browser gives pages no Bluetooth.',
      socket: 'This browser gives pages no WebSockets.',
      simulated: 'This browser runs no workers, and the simulated board is one.',
    },
    next: {
      serial: [
        {
          ...onAll(
            'Open this page in a browser that has Web Serial: Chromium and its kin have it, Safari has not.',
          ),
          android: 'Few browsers on Android reach a cable: link by Bluetooth, or use a computer.',
          ios: 'No browser on this system gives pages a cable: use a computer, or an Android phone and Bluetooth.',
        },
        { ...onAll(SECURE_PAGE), ios: WITHOUT_LINK },
        WITHOUT_LINK,
      ],
      bluetooth: [
        {
          ...onAll(
            'Open this page in a browser that has Web Bluetooth: Chromium and its kin have it, Firefox and Safari have not.',
          ),
          linux:
            'In Chromium on Linux it must be switched on: open chrome://flags, enable “Web Bluetooth” (where there is no such line, “Experimental Web Platform features”), and restart the browser. Firefox has none.',
          ios: 'No browser of this system gives pages Bluetooth: use an Android phone or a computer.',
        },
        { ...onAll(SECURE_PAGE), ios: WITHOUT_LINK },
        WITHOUT_LINK,
      ],
      socket: ['Open this page in a current browser.', WITHOUT_LINK],
      simulated: ['Open this page in a current browser.', WITHOUT_LINK],
    },
  },

  switched_off: {
    heading: 'It is switched off',
    safe: NOTHING_SENT,
    happened: {
      serial: 'The system gives no serial ports.',
      bluetooth: 'Bluetooth is switched off, or this machine has none.',
      socket: 'The system gives no network, not even its own.',
      simulated: 'The simulated board cannot be started here.',
    },
    next: {
      serial: [...ABSENT_SERIAL, WITHOUT_LINK],
      bluetooth: [
        {
          linux:
            'Switch it on in the settings, or with “rfkill unblock bluetooth” and “bluetoothctl power on”; the service “bluetooth” must run.',
          windows: 'Switch it on in the settings, under Bluetooth and devices.',
          mac: 'Switch it on in the system settings, and allow the browser to use it under privacy.',
          android: 'Switch it on in the settings, and allow the browser to find devices near by.',
          ios: 'Browsers on this system get none, on or off: use an Android phone or a computer.',
          chromeos: 'Switch it on in the quick settings.',
        },
        'A machine with no Bluetooth of its own takes a small adapter for a USB socket.',
      ],
      socket: ['Reload this page.', WITHOUT_LINK],
      simulated: [NO_SUCH_SIMULATED],
    },
  },

  none_chosen: {
    heading: 'No board was chosen',
    safe: NOTHING_SENT,
    happened: {
      serial: 'The list was closed without choosing a port.',
      bluetooth: 'The list was closed without choosing a board.',
      socket: 'No address was given.',
      simulated: 'No simulated board was chosen.',
    },
    next: {
      serial: ABSENT_SERIAL,
      bluetooth: ABSENT_BLUETOOTH,
      socket: [
        'Type the address that the program printed when it began to serve the board, such as ws://localhost:4180/1.',
      ],
      simulated: [NO_SUCH_SIMULATED],
    },
  },

  not_permitted: {
    heading: 'The link is not permitted',
    safe: NOTHING_SENT,
    happened: {
      serial: 'You, the browser or a policy of this machine did not permit it to use serial ports.',
      bluetooth: 'You, the browser or a policy of this machine did not permit it to use Bluetooth.',
      socket: 'The browser did not permit the address: only boards on this machine are linked so.',
      simulated: 'The browser did not permit the simulated board to start.',
    },
    next: {
      serial: [
        'Press the link’s button again, and choose the board in the list that the browser shows.',
        {
          ...onAll(
            'If no list appears, open the site settings at the left of the address and allow serial ports.',
          ),
          ios: WITHOUT_LINK,
        },
        'On a machine that someone else looks after, a policy may forbid it: ask there.',
      ],
      bluetooth: [
        'Press the link’s button again, and choose the board in the list that the browser shows.',
        {
          ...onAll(
            'If no list appears, open the site settings at the left of the address and allow Bluetooth devices.',
          ),
          android:
            'Allow the browser to find devices near by in the system’s settings, and Bluetooth devices in the settings of this site.',
          mac: 'Allow the browser to use Bluetooth in the system’s privacy settings, and in the settings of this site.',
          ios: WITHOUT_LINK,
        },
        'On a machine that someone else looks after, a policy may forbid it: ask there.',
      ],
      socket: [
        'Use an address on this machine: ws://localhost, a port, and what the program printed behind it.',
      ],
      simulated: [
        'See whether an extension of the browser blocks workers on this page.',
        NO_SUCH_SIMULATED,
      ],
    },
  },

  no_rights: {
    heading: 'The system does not let you open it',
    safe: NOTHING_SENT,
    happened: {
      serial: 'The port is there, and the system does not let this user, or this browser, open it.',
      bluetooth: 'The system does not let this user, or this browser, use the Bluetooth device.',
      socket: 'The system does not let this browser connect there.',
      simulated: 'The system does not let the simulated board start.',
    },
    next: {
      serial: [
        {
          linux:
            'On Linux the port belongs to a group: “dialout” on Debian and its kin, “uucp” on Arch. Run “sudo usermod -aG dialout $USER” (or uucp), log out and in again, then link again.',
          windows:
            'See whether the device manager shows the port without a warning, and whether a security program guards it.',
          mac: 'Allow the browser to use accessories in the system’s privacy settings, then unplug the board and plug it in again.',
          android: 'When the system asks whether the browser may use the device, allow it.',
          ios: WITHOUT_LINK,
          chromeos:
            'If the port was given to Linux, take it back in the settings under Linux and USB devices.',
        },
        {
          linux:
            'A browser that was installed as a Snap or a Flatpak may reach no ports at all: allow it there, or use the one of your distribution.',
          windows: STOP_OTHERS,
          mac: STOP_OTHERS,
          chromeos: STOP_OTHERS,
          android: STOP_OTHERS,
          ios: STOP_OTHERS,
        },
      ],
      bluetooth: [
        {
          ...onAll('Allow the browser to use Bluetooth in the system’s settings.'),
          linux:
            'The service “bluetooth” must let your user use it: on many systems the group is “bluetooth” or “lp”.',
          ios: WITHOUT_LINK,
        },
        'If the board was paired with the system, remove it there and let this page find it.',
      ],
      socket: ['See whether a firewall or a security program stands in between.'],
      simulated: [NO_SUCH_SIMULATED],
    },
  },

  in_use: {
    heading: 'It is in use elsewhere',
    safe: NOTHING_SENT,
    happened: {
      serial: 'Another program, or another page, has the port.',
      bluetooth: 'The board is linked already, from here or from elsewhere.',
      socket: 'Another program has the board behind this address.',
      simulated: 'The simulated board is linked already.',
    },
    next: {
      serial: [
        STOP_OTHERS,
        {
          linux:
            'On Linux “fuser -v /dev/ttyACM0” says which program it is. A modem service that tries every new port lets go after some seconds.',
          windows: 'On Windows only one program at a time may have a port.',
          mac: 'On a Mac “lsof /dev/tty.usb*” says which program it is.',
        },
        LINK_AGAIN,
      ],
      bluetooth: [
        'End its other link: an app on a phone, another tab, another computer. A board has one link at a time.',
        LINK_AGAIN,
      ],
      socket: [
        'Close the other page or program that has this board, or serve it on an address of its own.',
        LINK_AGAIN,
      ],
      simulated: ['Pick it above, or link another simulated board with another seed.'],
    },
  },

  unreachable: {
    heading: 'It does not answer',
    safe: NOTHING_SENT,
    happened: {
      serial: 'The port cannot be opened: the board is unplugged, off, or starting again.',
      bluetooth:
        'The board was found and does not answer: it is asleep, out of reach, or linked to something else.',
      socket: 'Nothing answers at this address.',
      simulated: 'The simulated board does not answer.',
    },
    next: {
      serial: [
        'See that the board is plugged in and on; wait some seconds if it has just started. Then link again.',
        {
          linux:
            'If the port is there and does not open, you may lack the right to it (group dialout or uucp), or a program has it.',
        },
        OTHER_PORT,
      ],
      bluetooth: [
        'Wake the board and bring it nearer, then link again.',
        'It may be linked to a phone, to another tab or to another computer: end that link first.',
        {
          linux:
            'If it stays so, “bluetoothctl remove” with its address makes the system forget it; then link again.',
          android: 'If it stays so, switch Bluetooth off and on.',
          windows: 'If it stays so, switch Bluetooth off and on.',
          mac: 'If it stays so, switch Bluetooth off and on.',
          chromeos: 'If it stays so, switch Bluetooth off and on.',
        },
        RELOAD,
      ],
      socket: [
        'See that the program which serves the board runs, and that the address is the one it printed, port and all.',
        'For simulated boards that is “npm run -s sim -- --ws 4180”, run in the folder of this program.',
      ],
      simulated: [NO_SUCH_SIMULATED],
    },
  },

  no_board: {
    heading: 'This is no board',
    safe: 'Nothing on it was changed.',
    happened: {
      serial: 'What answers on this port is no board.',
      bluetooth: 'The device answers, and offers no link of a kind known here.',
      socket: 'What answers at this address is no board.',
      simulated: 'The simulated board is none.',
    },
    next: {
      serial: [
        'Choose another port in the list.',
        'See that the board runs firmware that speaks the protocol.',
      ],
      bluetooth: [
        'Choose another device in the list.',
        'If it is a board, its firmware offers another service: SPEC.md says which are known.',
      ],
      socket: [
        'See that the address is the one of the board, with all that stands behind the port.',
      ],
      simulated: [NO_SUCH_SIMULATED],
    },
  },

  gone: {
    heading: 'The link was lost',
    safe: WORK_KEPT,
    happened: {
      serial:
        'The board is no longer on its cable: it was unplugged, switched off, or started again.',
      bluetooth: 'The board is out of reach, asleep or switched off.',
      socket: 'The program that serves the board ended the link.',
      simulated: 'The link to the simulated board dropped.',
    },
    next: {
      serial: [
        {
          ...onAll('Plug it in again: the link comes back by itself. If it does not, link again.'),
          android: 'Plug it in again, and link again.',
          ios: WITHOUT_LINK,
        },
        OTHER_PORT,
      ],
      bluetooth: [
        'Wake it or bring it nearer. Where this browser sees it return the link comes back by itself; where not, link again.',
        RELOAD,
      ],
      socket: ['Start the program again; then link again.'],
      simulated: ['It is made again by itself; if that fails, link again.'],
    },
  },

  closed: {
    heading: 'The link is closed',
    safe: WORK_KEPT,
    happened: {
      serial: 'The link over the cable is closed.',
      bluetooth: 'The link over Bluetooth is closed.',
      socket: 'The link to the address is closed.',
      simulated: 'The link to the simulated board is closed.',
    },
    next: {
      serial: ['Link again.', RELOAD],
      bluetooth: ['Link again.', RELOAD],
      socket: ['Link again.', RELOAD],
      simulated: ['Link again.', RELOAD],
    },
  },

  failed: {
    heading: 'The link failed',
    safe: WORK_KEPT,
    happened: {
      serial: 'The link over the cable failed.',
      bluetooth: 'The link over Bluetooth failed.',
      socket: 'The link to the address failed.',
      simulated: 'The link to the simulated board failed.',
    },
    next: {
      serial: [
        'Unplug the board, plug it in again, and link again.',
        {
          linux:
            'If the port does not open on Linux, you may lack the right to it: join the group “dialout” (“uucp” on Arch), log out and in again. Or a program has it.',
          windows: STOP_OTHERS,
          mac: STOP_OTHERS,
          chromeos: STOP_OTHERS,
        },
        RELOAD,
      ],
      bluetooth: [
        'Link again. Some systems need a second try.',
        'If it stays so, switch Bluetooth and the board off and on.',
        RELOAD,
      ],
      socket: ['See that the address is right and that its program runs, then link again.', RELOAD],
      simulated: ['Link again.', NO_SUCH_SIMULATED],
    },
  },
};

/** What to say of a cause, for this kind of link on this system. */
export function linkHelp(cause: LinkCause, kind: KindName, system: System): LinkHelp {
  const { heading, safe, happened, next } = TABLE[cause];
  const lines = next[kind].flatMap((advice) =>
    typeof advice === 'string' ? [advice] : (advice[system] ?? []),
  );
  return { heading, safe, happened: happened[kind], next: [...new Set(lines)] };
}

/**
 * The system that a browser runs on, guessed from what it says of itself: `navigator.userAgent` and
 * `navigator.maxTouchPoints`, since an iPad calls itself a Mac.
 */
export function systemOf(userAgent: string, touchPoints: number): System {
  if (/Android/.test(userAgent)) return 'android';
  if (/iPhone|iPad|iPod/.test(userAgent)) return 'ios';
  if (/Macintosh/.test(userAgent)) return touchPoints > 1 ? 'ios' : 'mac';
  if (/Windows/.test(userAgent)) return 'windows';
  if (/CrOS/.test(userAgent)) return 'chromeos';
  return 'linux';
}
