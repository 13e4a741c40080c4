import { html, nothing, svg } from 'lit';
import { customElement, property, state } from 'lit/decorators.js';
import {
  beginAssembly,
  handOf,
  insistOn,
  leaveAssembly,
  lookAssembly,
  nextAt,
  type AssemblyAt,
  type LookOutcome,
  type PoseLooks,
} from '../steps/assembly/assembly-check.ts';
import { POSES, type AssemblyCheck } from '../steps/assembly/assembly-history.ts';
import {
  ASSEMBLY_BLIND,
  assemblyVerdict,
  CHIPS,
  findingWords,
} from '../steps/assembly/finding-words.ts';
import { posePicture, type Point } from '../steps/assembly/pose-picture.ts';
import { POSE, turnWords } from '../steps/assembly/poses.ts';
import type { Bench } from '../steps/bench.ts';
import type { PlaceState } from '../steps/place-state.ts';
import { timeWords } from '../steps/time-words.ts';
import './assembly-view.css';
import './own-hand-view.ts';
import { shape } from './shapes.ts';
import { View } from './view.ts';

/** Whether a board that was just soldered is put together right. */
@customElement('assembly-view')
export class AssemblyView extends View {
  @property({ attribute: false }) bench!: Bench;
  @property({ attribute: false }) state!: PlaceState;
  /** What came of the last thing asked for here, where it went wrong. */
  @state() private fault = '';
  /** A turn that does not count yet: why, and what was looked at. */
  @state() private doubted: { words: string; looked: PoseLooks } | undefined;

  protected override follows() {
    return [this.bench.site];
  }

  protected override render() {
    const { history, link } = this.state;
    const { now, newest } = history.assembly;
    const linked = link.state === 'linked';
    return html`<p>
        For a board that was just soldered, before anyone calibrates it: do its sensors answer, are
        they sound, and do they sit as it says? It lies still for some seconds, and then in five
        turns. Nothing is written to the board.
      </p>
      ${
        now
          ? this.#turn(now, linked)
          : html`<p class="offers">
              ${this.#button(newest ? 'Check it again' : 'Begin the check', linked, () =>
                this.#do(() => beginAssembly(this.#on)),
              )}
            </p>`
      }
      ${linked ? nothing : html`<p>Link the board to go on.</p>`}
      <p role="alert">${this.fault || nothing}</p>
      <p role="status" class="unseen">
        ${now ? this.#poseWords(now) : newest ? assemblyVerdict(newest).heading : nothing}
      </p>
      ${!now && newest ? this.#result(newest) : nothing}`;
  }

  get #on(): AssemblyAt {
    const { atHand, site, logbook } = this.bench;
    return { place: atHand, site, today: () => logbook.now() };
  }

  /** For whoever does not see the sheet: which pose is wanted. */
  #poseWords({ looked }: AssemblyCheck): string {
    const pose = nextAt(this.#on)?.pose;
    if (pose === undefined) return looked.size > 0 ? 'All poses were looked at' : '';
    return `Pose ${POSES.indexOf(pose) + 1} of ${POSES.length}: ${POSE[pose].name}`;
  }

  #turn(check: AssemblyCheck, linked: boolean) {
    const next = nextAt(this.#on);
    const pose = next?.pose;
    const hand = handOf(this.bench.atHand);
    const { ownHand, simulator } = this.state;
    const number = pose === undefined ? POSES.length : POSES.indexOf(pose) + 1;
    return html`<section aria-labelledby="pose-heading" class="pose">
        ${
          pose
            ? html`<div class="pose-words">
                  <p class="note">Pose ${number} of ${POSES.length}</p>
                  <h3 id="pose-heading" class="large">${POSE[pose].name}</h3>
                  <p>${POSE[pose].how}</p>
                  ${next?.again ? html`<p class="doubt">${shape('watch')} <span>Once more: ${next.again}</span></p>` : nothing}
                  ${
                    hand
                      ? html`<p class="note">
                          The hand of the simulated board does it, and all turns that are left.
                        </p>`
                      : simulator && ownHand
                        ? html`<p class="note">
                            You hold it at azimuth ${ownHand.azimuth}°, inclination
                            ${ownHand.inclination}°, roll ${ownHand.roll}°.
                          </p>`
                        : nothing
                  }
                </div>
                ${picture(pose)}`
            : html`<h3 id="pose-heading" class="large">All poses were looked at</h3>`
        }
      </section>
      ${simulator && ownHand ? html`<own-hand-view .place=${this.bench.atHand} .state=${this.state}></own-hand-view>` : nothing}
      <p role="alert" class=${this.doubted ? 'doubt' : ''}>
        ${this.doubted ? html`${shape('watch')} <span>${this.doubted.words}</span>` : nothing}
      </p>
      <p class="offers">
        ${this.#button(
          pose === undefined
            ? 'See what they come to'
            : hand
              ? 'Let the simulated hand do it'
              : this.doubted
                ? 'Look again'
                : 'It lies so: look',
          linked,
          this.#look,
          true,
        )}
        ${this.doubted ? this.#button('It lies as in the picture: count it', linked, this.#insist) : nothing}
        ${this.#button('Leave this check', true, () => this.#do(() => leaveAssembly(this.#on)))}
      </p>
      <ol class="poses">
        ${POSES.map((each) => {
          const isIn = check.looked.has(each) && each !== pose;
          return html`<li>
            ${shape(isIn ? 'good' : each === pose ? 'now' : 'ahead')}
            <span>
              ${POSE[each].name}<span class="unseen"
                >, ${isIn ? 'looked at' : each === pose ? 'now' : 'still to come'}</span
              >
            </span>
          </li>`;
        })}
      </ol>`;
  }

  #result(newest: NonNullable<PlaceState['history']['assembly']['newest']>) {
    const { standing, heading } = assemblyVerdict(newest);
    const { findings, mounting, untold, time } = newest;
    return html`<section aria-labelledby="assembly-heading" class="assembly-result">
      <div class="verdict ${standing}">
        ${shape(standing)}
        <h3 id="assembly-heading" class="large">${heading}</h3>
      </div>
      ${
        findings.length > 0
          ? html`<ul class="findings">
                ${findings.map((finding) => {
                  const { title, evidence, likely, look } = findingWords(finding);
                  return html`<li class="bad">
                    ${shape('bad')}
                    <div>
                      <h4>${title}<span class="unseen">, a fault</span></h4>
                      <p>${evidence}</p>
                      <p>${likely}</p>
                      <p class="note">Where to look:</p>
                      <ul>
                        ${look.map((each) => html`<li>${each}</li>`)}
                      </ul>
                    </div>
                  </li>`;
                })}
              </ul>
              <p>
                Take the battery out before you solder. When it is mended, check it again. What the
                causes are is common practice of the bench, with no published source.
              </p>`
          : nothing
      }
      ${untold.map((each) => html`<p class="doubt">${shape('watch')} <span>${each}</span></p>`)}
      ${
        (['acc', 'mag'] as const).some((chip) => mounting[chip] !== undefined)
          ? html`<p>
              How the chips were found to sit (the chip axis along the sight, to the right, and
              down):
              ${(['acc', 'mag'] as const)
                .filter((chip) => mounting[chip] !== undefined)
                .map(
                  (chip, i) =>
                    html`${i > 0 ? ', ' : ''}${CHIPS[chip]} <strong>${mounting[chip]}</strong>`,
                )}.
            </p>`
          : nothing
      }
      <p class="note">${timeWords(time)}. It is in the logbook of the board.</p>
      <h4>What this cannot see</h4>
      <ul>
        ${ASSEMBLY_BLIND.map((each) => html`<li>${each}</li>`)}
      </ul>
    </section>`;
  }

  #button(label: string, able: boolean, press: () => unknown, isMain = false) {
    const can = able && this.state.work === undefined;
    return html`<button
      type="button"
      class=${isMain ? 'main' : nothing}
      aria-disabled=${can ? 'false' : 'true'}
      @click=${() => (can ? press() : undefined)}
    >
      ${label}
    </button>`;
  }

  #look = async () => {
    this.fault = '';
    this.doubted = undefined;
    this.#tell(await lookAssembly(this.#on));
  };

  #insist = async () => {
    const { doubted } = this;
    this.doubted = undefined;
    if (doubted) this.#tell(await insistOn(this.#on, doubted.looked));
  };

  #tell(outcome: LookOutcome): void {
    if (outcome.done) return;
    if ('problem' in outcome) {
      const { pose, problem, looked } = outcome;
      this.doubted = { words: turnWords(pose, problem), looked };
    } else if (outcome.fault !== undefined) this.fault = outcome.fault;
  }

  async #do(task: () => Promise<string | undefined>): Promise<void> {
    this.doubted = undefined;
    this.fault = (await task()) ?? '';
  }
}

const points = (all: readonly Point[]): string =>
  all.map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`).join(' ');

/** Too narrow a side for its name. */
const isNarrow = (corners: readonly Point[]): boolean => {
  const across = corners.map(([x]) => x);
  return Math.max(...across) - Math.min(...across) < 40;
};

/** The board in that pose; the words beside it say the same. */
function picture(pose: (typeof POSES)[number]) {
  const { sides, sight, isAway, table, north } = posePicture(pose);
  const [[x1, y1], [x2, y2]] = sight;
  const arrow = svg`<line x1=${x1} y1=${y1} x2=${x2} y2=${y2} class="pose-sight" marker-end="url(#pose-tip)" />`;
  const [[nx1, ny1], [nx2, ny2]] = north;
  return html`<svg
    class="pose-picture"
    viewBox="-110 -104 220 189"
    role="img"
    aria-label="The board ${POSE[pose].name.toLowerCase()}, on a table, seen from behind, from the left and above. The arrow is the sight."
  >
    <defs>
      <marker
        id="pose-tip"
        viewBox="0 0 10 10"
        refX="6"
        refY="5"
        markerWidth="5"
        markerHeight="5"
        orient="auto"
      >
        <path d="M0 0L10 5L0 10Z" class="pose-tip" />
      </marker>
    </defs>
    <polygon points=${points(table)} class="pose-table" />
    ${svg`<line x1=${nx1} y1=${ny1} x2=${nx2} y2=${ny2} class="pose-north" marker-end="url(#pose-tip)" />
      <text x=${nx2 + 6} y=${ny2 - 2} class="pose-text">N</text>`}
    ${isAway ? arrow : nothing}
    ${sides.map(({ name, corners }) => svg`<polygon points=${points(corners)} class="pose-side ${name}" />`)}
    ${isAway ? nothing : arrow}
    ${sides.map(({ name, corners, middle: [x, y] }) =>
      name === 'nose' || name === 'tail' || isNarrow(corners)
        ? nothing
        : svg`<text x=${x} y=${y + 3} class="pose-text side">${name}</text>`,
    )}
  </svg>`;
}

declare global {
  interface HTMLElementTagNameMap {
    'assembly-view': AssemblyView;
  }
}
