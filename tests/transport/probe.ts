import { formatRequest } from '../../src/protocol/line.ts';

/** A hello, which every board answers, whatever went before. */
export const PROBE = {
  send: formatRequest(1, 'hello', { host: '0000ABCD', protocol: 1 }),
  answer: '=1 ok ',
};
