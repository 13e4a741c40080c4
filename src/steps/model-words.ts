import type { ModelVerdict } from '../calib/model-choice.ts';
import type { FitRecord, ModelInShort } from '../records/entries.ts';
import type { Finding } from './finding.ts';

/** What a fit by either model is held against the other by. */
export const modelInShort = ({
  coefficients,
  noise,
  meanSpread,
  uncertainty: { azimuth, inclination, freedom },
}: Pick<FitRecord, 'coefficients' | 'noise' | 'meanSpread' | 'uncertainty'>): ModelInShort => ({
  uncertainty: { azimuth, inclination, freedom },
  ...(meanSpread !== undefined && { meanSpread }),
  accNoise: noise.acc / coefficients.accScale,
});

/** Which model was taken and why, with what each misses side by side. */
export function modelFinding(model: 'straight' | 'bowed', verdict: ModelVerdict): Finding {
  const { missed } = verdict;
  const sides = missed
    ? `; of a sighting left out straight misses ${miss(missed.straight)} and bowed ${miss(missed.bowed)} (squares over variance), a gain of ${miss(missed.gain)} with a standard error of ${miss(missed.standardError)}`
    : '';
  return {
    name: 'Straight or bowed',
    figure: model,
    words: `${whyWords(verdict)}${sides}`,
    standing: verdict.why === 'no_straight' ? 'watch' : 'good',
  };
}

/** Which model was taken for what reason, in the midst of a sentence. */
export const whyWords = ({ why, detail }: ModelVerdict): string =>
  `${WHY[why]}${detail ? ` (${detail.replace(/\.$/, '')})` : ''}`;

const miss = (value: number): string =>
  value.toFixed(Math.abs(value) < 100 ? 1 : 0).replace('-', '−');

const WHY: Record<ModelVerdict['why'], string> = {
  clear:
    'the accelerometer is curved: with curvature, sightings left out are predicted clearly better',
  not_clear:
    'curvature does not clearly help to predict sightings left out, so the simpler model is kept',
  undetermined: 'these readings do not determine a bowed model',
  too_few: 'too few sightings to judge a bowed model by those left out',
  no_straight: 'no straight model answers to these readings',
  forced: 'as asked for; the other model was not tried',
};
