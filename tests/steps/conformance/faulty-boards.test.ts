import { expect, test, vi } from 'vitest';
import { FAULTS, type FaultName } from '../../../firmware-sim/faulty.ts';
import { CheckedBoard, named } from './checked-board.ts';

// a run is many hundred lines there and back; a busy machine takes its time
vi.setConfig({ testTimeout: 60_000 });

/** Which checks each fault must fail: these and no others. */
const EXPECTED: Record<FaultName, readonly string[]> = {
  'sends events without their check': ['every line carries its check'],
  'writes its check in lower case': ['every line carries its check'],
  'answers memory with 330 bytes': ['no line is too long'],
  // the line that was damaged, and is sent again whole, was carried out already
  'carries out damaged lines': ['a wrong check', 'a damaged line is not remembered'],
  'answers a damaged line under its tag': ['a wrong check'],
  'cuts lines off at their longest': ['a line too long'],
  'has a buffer of 310 bytes': ['the longest line'],
  'answers empty lines': ['empty lines'],
  'takes a CR for part of the line': ['a CR before the LF'],
  'skips bytes that it does not know': ['foreign bytes'],
  'forgets half a line after a second': ['split lines'],
  'takes 64 bytes in one write': ['the longest write'],
  'refuses fields of mode that it does not know': ['fields nobody knows'],
  'calls unknown verbs bad lines': ['verbs nobody knows'],
  'answers a known tag whatever comes under it': ['a tag used for something else'],
  'remembers four requests': ['eight requests remembered'],
  // the one thing it lacks is what all of these rest on
  'remembers no request': [
    'a request repeated',
    'eight requests remembered',
    'a tag used for something else',
    'a repeat while the board is at work',
    'capture repeated',
    'again repeated',
    'adopt',
    'seal repeated',
    'revert repeated',
  ],
  'captures again for a repeated capture': ['capture repeated'],
  'sends events again for a repeated again': ['again repeated'],
  'answers everything twice': ['one answer to each request'],
  'answers coefficients after two seconds': ['answers in time'],
  'repeats the first host number for ever': ['hello repeats the host’s number'],
  'says whatever version it is asked for': ['versions'],
  'does not say how long a capture takes': ['hello'],
  'keeps what was just staged over a hello': ['hello throws away what is staged'],
  'does not say which mode it is in': ['mode'],
  'gives counts with four decimals': ['sense'],
  // looked at with the set found on the board, and with the one sealed in the check
  'turns roll the other way in sense': ['angles of sense', 'angles after a seal'],
  'counts the azimuth of readings from south': ['angles of a reading'],
  'says generation 0 in readings': ['generation of a reading'],
  'recalls whole counts': ['a reading recalled'],
  'answers a capture before its event': ['capture'],
  'leaves a number of events out': ['numbers of events'],
  // both ask for events again
  'sends events again with a new time': ['events asked for again', 'sixteen events kept'],
  'keeps eight events': ['sixteen events kept'],
  'counts no room away': ['the memory counts'],
  'erases one reading too many': ['erase'],
  'numbers readings from 1 again after an erase': ['numbers after an erase'],
  'erases for a line typed by hand': ['erase typed by hand'],
  'captures for a line typed by hand': ['capture typed by hand'],
  'renames for a line typed by hand': ['rename refused'],
  'always says that its light is on': ['the light'],
  'counts a setting that it has not': ['settings'],
  'tells the scale of ranges in percent': ['settings'],
  'names the old revision after an adopt': ['adopt'],
  'names another firmware in its image report': ['the image report'],
  'seals for a line typed by hand': ['seal typed by hand'],
  'reverts for a line typed by hand': ['revert typed by hand'],
  'takes a reading number of 0': ['fields missing, malformed or out of range'],
  'leaves the model out of the CRC it answers': ['stage'],
  'checks any CRC': ['check'],
  'seals whatever generation is named': ['seal of a stale generation'],
  'seals what was not checked': ['seal of what was not checked'],
  'names the old generation after a seal': ['seal'],
  'names the old generation after a revert': ['revert'],
  // both look for no_hello after a start
  'needs no hello after a restart': ['restart', 'before the first hello'],
  'does not start again when asked to': ['restart', 'before the first hello'],
  'speaks before the first hello': ['before the first hello'],
};

test.each(Object.keys(FAULTS) as FaultName[])(
  'a board that %s fails on just that, and is left as it was found',
  async (fault) => {
    const checked = await new CheckedBoard({ build: { hasRange: true } }).inUse();
    const before = await checked.kept();
    const report = await checked.check({ fault });
    expect(named(report, 'failed')).toEqual(EXPECTED[fault]);
    expect(report.cut).toBeUndefined();
    expect(await checked.kept()).toEqual(before);
    for (const { outcome, findings } of report.checks) {
      expect(findings.length > 0).toBe(outcome === 'failed');
      for (const { wanted } of findings) expect(wanted).not.toBe('');
    }
  },
);
