import {
  absenceSentence,
  baselineText,
  competingSentence,
  dividingGainText,
  DIAGNOSIS_WORDS,
  FADING_DIAGNOSIS_WORDS,
  groupCountsText,
  GROUPING_WORDS,
  groupsSentence,
  meanYearsText,
  measureText,
  modelComparisonSentence,
  NOT_FIXED,
  numberText,
  percentText,
  pText,
  ratioText,
  readTwoParts,
  separationSentence,
  settlingSentence,
  shareText,
  shareTipSentence,
  shareLimitsText,
  tauText,
  testedText,
  UNDEFINED_MEAN_NOTE,
  type OutcomeAnswer,
  type SurvivalAtYear,
  type SurvivalGroupsAnswer,
  type TwoPartAnswer,
} from '@longhold/core/answers';
import { isRefusal } from '@longhold/core/numeric';
import { absenceModel, groupCurvesModel, incidenceModel, separationModel } from '@longhold/ui/figures';
import { html, table, type Html } from './html';
import { figure } from './report-pieces';

const CUSTOMARY_YEARS = [1, 2, 3, 5, 10];

/** Lasting growth or growth brought forward: reading, figure, both models. */
export function separationSection(answer: OutcomeAnswer): Html {
  const { separation, measure } = answer;
  const read = readTwoParts(separation);
  const fades = separation.readFrom === 'fading-part';
  const passing = fades ? 'fading' : 'brought forward';
  const words = fades ? FADING_DIAGNOSIS_WORDS : DIAGNOSIS_WORDS;
  return html`<section id="separation">
    <h2>Lasting growth, or growth that only came earlier</h2>
    ${separation.diagnosis === null ? null : html`<h3>${words[separation.diagnosis]}</h3>`}
    <p>${separationSentence(answer)} ${settlingSentence(answer) ?? ''}</p>
    ${
      read === null
        ? null
        : figure(
            separationModel(read.course, measure, passing),
            'Mean gain, its lasting part and what passes',
            `The mean gain as the model has it. Between the lasting part and the whole lies what is ${passing}.`,
          )
    }
    ${modelTable(answer)}
    ${modelComparisonSentence(answer) === null ? null : html`<p>${modelComparisonSentence(answer)}</p>`}
    ${influenceText(answer)}
  </section>`;
}

function modelTable(answer: OutcomeAnswer): Html {
  const { separation, measure } = answer;
  const { growthClock, fadingPart } = separation;
  const clock = isRefusal(growthClock) ? null : growthClock;
  const fading = isRefusal(fadingPart) ? null : fadingPart;
  const gain = (value: number): string => measureText(value, measure.unit, 2);
  const both = (name: string, write: (model: TwoPartAnswer) => string): string[] => [
    name,
    clock === null ? '–' : write(clock),
    fading === null ? '–' : write(fading),
  ];
  // Nothing that stands on the split is written where the data do not fix it.
  const split = (name: string, write: (model: TwoPartAnswer) => string): string[] =>
    both(name, (model) => (model.lasting.limits === null ? NOT_FIXED : write(model)));
  const messages = [growthClock, fadingPart].flatMap((model) => (isRefusal(model) ? [model.message] : []));
  const told = separationSentence(answer);
  const refusals = [...new Set(messages)]
    .filter((message) => !told.includes(message))
    .map((message) => html`<p>${message}</p>`);
  if (clock === null && fading === null) return html`${refusals}`;
  return html`${table(
    `Two models of the gain: ${separation.gains} gains of ${separation.patients} patients`,
    [
      { heading: '', kind: 'text' },
      { heading: 'Growth clock', kind: 'number' },
      { heading: 'Fading part', kind: 'number' },
    ],
    [
      both('Lasting gain T', ({ lasting }) => testedText(lasting, gain)),
      [
        'Years brought forward S',
        clock === null ? '–' : testedText(clock.passing, (value) => numberText(value, 2)),
        '–',
      ],
      ['Fading gain P', '–', fading === null ? '–' : testedText(fading.passing, gain)],
      ['Time constant', '–', fading === null ? '–' : tauText(fading)],
      split('Passing part at the end of treatment', ({ passingAtEnd }) => gain(passingAtEnd)),
      split('Lasting share', ({ share }) => shareText(share)),
      split('Correlation of the estimates', ({ correlation }) => numberText(correlation, 2)),
      split('SD between patients, lasting part', ({ patientSd }) => gain(patientSd.lasting)),
      both('Residual SD', ({ residualSd }) => gain(residualSd)),
      both('Akaike criterion', ({ aic }) => numberText(aic)),
    ],
  )}
  ${refusals}`;
}

function influenceText({ separation, measure }: OutcomeAnswer): Html | null {
  const { influence } = separation;
  if (influence === null) return null;
  const { lasting, share } = influence;
  return html`<p>
    With any one patient left out the lasting gain lies between
    ${measureText(lasting.lowest.value, measure.unit, 2)} and
    ${measureText(lasting.highest.value, measure.unit, 2)}, its share between
    ${percentText(share.lowest.value)} and ${percentText(share.highest.value)}.
  </p>`;
}

/** Survival under each rule, the mean time, groups, and second treatments. */
export function survivalComparisons(answer: OutcomeAnswer): Html {
  const { survival, groups, competing, measure } = answer;
  const mean = survival?.turnbull.restrictedMean ?? null;
  return html`${
      survival === null
        ? null
        : html`<section id="rules">
            <h2>How much hangs on the rule</h2>
            ${
              mean === null
                ? null
                : html`<p>
                    Of the first ${mean.until} years patients keep the gain for ${numberText(mean.estimate)}
                    on average (${numberText(mean.limits.lower)} to ${numberText(mean.limits.upper)}).
                  </p>`
            }
            ${yearTable(
              'Share still with the gain (limits; at risk)',
              'A loss is',
              survival.byRule.map(({ rule, losses, atYears }) => ({
                name: rule,
                patients: survival.patients,
                losses,
                atYears,
              })),
            )}
          </section>`
    }
    <section id="groups">
      <h2>Groups</h2>
      <p>${groupsSentence(answer)}</p>
      ${groups === null || groups.groups.length === 0 ? null : groupsDetail(groups, measure)}
    </section>
    <section id="competing">
      <h2>Lost, or treated again first</h2>
      <p>${competingSentence(answer)}</p>
      ${
        competing === null || competing.points.length === 0
          ? null
          : figure(
              incidenceModel(competing),
              'Cumulative incidence of loss and of a second treatment',
              'At the visits that found a loss and the days of second treatments (Aalen and Johansen 1978).',
            )
      }
      ${competing === null || competing.patients === 0 ? null : competingTable(competing)}
    </section>`;
}

/** Both incidences at the customary years, with limits. */
function competingTable({ atYears }: NonNullable<OutcomeAnswer['competing']>): Html {
  const cell = ({ probability, lower, upper }: (typeof atYears)[number]['lost']): string => {
    if (probability === null) return '–';
    const limits = lower === null || upper === null ? '' : ` (${shareLimitsText({ lower, upper })})`;
    return `${percentText(probability)}${limits}`;
  };
  return table(
    'Found lost, or treated again first, by year (limits)',
    [
      { heading: 'Year', kind: 'text' },
      { heading: 'At risk', kind: 'number' },
      { heading: 'Gain found lost', kind: 'number' },
      { heading: 'Treated again first', kind: 'number' },
    ],
    atYears.map(({ year, atRisk, lost, treatedAgain }) => [year, atRisk, cell(lost), cell(treatedAgain)]),
  );
}

function groupsDetail(groups: SurvivalGroupsAnswer, measure: OutcomeAnswer['measure']): Html {
  const name = GROUPING_WORDS[groups.grouping].toLowerCase();
  return html`${figure(
    groupCurvesModel(groups.groups),
    `Survival of the gain by ${name}`,
    `Interval-censored estimates; limits in the table from ${groups.resamples} resamples of each group.`,
  )}
  ${yearTable(
    'Share still with the gain (limits; at risk)',
    'Group',
    groups.groups.map(({ label, ...rest }) => ({ name: label, ...rest })),
  )}
  ${
    groups.dividingGain === null
      ? null
      : html`<p class="about">${dividingGainText(groups.dividingGain, measure.unit)}</p>`
  }
  ${groupMeansTable(groups)} ${groups.reference === null ? null : ratioTable(groups)}
  ${table(
    'Tests that the gain stays equally long in all groups',
    [
      { heading: 'Divided by', kind: 'text' },
      { heading: 'Groups (losses of patients)', kind: 'text' },
      { heading: 'p', kind: 'number' },
      { heading: 'p corrected (Holm)', kind: 'number' },
    ],
    groups.tests.map(({ grouping, groups: members, test, adjustedP, why }) => [
      GROUPING_WORDS[grouping],
      groupCountsText({ groups: members }),
      test === null ? (why ?? '–') : pText(test.p),
      adjustedP === null ? '–' : pText(adjustedP),
    ]),
  )}`;
}

function ratioTable(groups: SurvivalGroupsAnswer): Html {
  const rows = groups.regressions.flatMap((one) => {
    if (isRefusal(one)) return [];
    const model = one.distribution === 'weibull' ? 'Weibull' : 'Log-logistic';
    return [
      ...one.timeRatios.map((ratio) => ({ ...ratio, model: `${model}, time ratio` })),
      ...(one.hazardRatios ?? []).map((ratio) => ({ ...ratio, model: `${model}, hazard ratio` })),
    ];
  });
  const cox = isRefusal(groups.cox)
    ? []
    : groups.cox.map((ratio) => ({ ...ratio, model: 'Cox, hazard ratio' }));
  return table(
    `Ratios against ${groups.reference ?? ''}`,
    [
      { heading: 'Model', kind: 'text' },
      { heading: 'Group', kind: 'text' },
      { heading: 'Ratio', kind: 'number' },
      { heading: 'Limits', kind: 'number' },
      { heading: 'p', kind: 'number' },
    ],
    [...rows, ...cox].map(({ model, label, estimate, limits, p }) => [
      model,
      label,
      ratioText(estimate),
      `${ratioText(limits.lower)} to ${ratioText(limits.upper)}`,
      pText(p),
    ]),
  );
}

interface YearRow {
  readonly name: string;
  readonly patients: number;
  readonly losses: number;
  readonly atYears: readonly SurvivalAtYear[];
}

function groupMeansTable({ groups, reference, meanDifferences }: SurvivalGroupsAnswer): Html | null {
  const [until] = groups.flatMap(({ restrictedMean }) => restrictedMean?.until ?? []);
  if (until === undefined) return null;
  return html`${table(
      `Mean years with the gain, of the first ${until}`,
      [
        { heading: 'Group', kind: 'text' },
        { heading: 'Mean years (limits)', kind: 'number' },
        { heading: `More than ${reference ?? 'the largest group'}`, kind: 'number' },
      ],
      groups.map(({ label, restrictedMean }) => {
        const difference = meanDifferences.find((one) => one.label === label);
        return [
          label,
          restrictedMean === null ? '–' : meanYearsText(restrictedMean),
          difference === undefined ? '–' : meanYearsText(difference),
        ];
      }),
    )}
    <p class="about">${UNDEFINED_MEAN_NOTE}</p>`;
}

function yearTable(caption: string, heading: string, rows: readonly YearRow[]): Html {
  return table(
    caption,
    [
      { heading, kind: 'text' },
      { heading: 'Patients', kind: 'number' },
      { heading: 'Losses', kind: 'number' },
      ...CUSTOMARY_YEARS.map((year) => ({ heading: `Year ${year}`, kind: 'number' as const })),
    ],
    rows.map(({ name, patients, losses, atYears }) => [
      name,
      patients,
      losses,
      ...CUSTOMARY_YEARS.map((year) => {
        const at = atYears.find((row) => row.year === year);
        if (at?.estimate == null) return '–';
        const limits = at.limits === null ? '' : `${shareLimitsText(at.limits)}; `;
        return `${percentText(at.estimate)} (${limits}${at.atRisk})`;
      }),
    ]),
  );
}

/** Those who did not come back: bounds, tipping points, comparison. */
export function absenceSection(answer: OutcomeAnswer): Html {
  const { absence } = answer;
  const share = shareTipSentence(answer);
  return html`<section id="absence">
    <h2>Those who did not come back</h2>
    <p>${absenceSentence(answer)}</p>
    ${
      absence.bounds.length < 2 || absence.stayedAway + absence.neverSeen === 0
        ? null
        : figure(
            absenceModel(absence.bounds),
            'Survival of the gain between the extremes for those who stayed away',
            'Worst: all who stayed away lost the gain right after the last visit. Best: all of them still have it.',
          )
    }
    ${share === null ? null : html`<p>${share}</p>`}
    ${
      absence.baseline.length === 0
        ? null
        : table(
            'Seen and not seen',
            [
              { heading: '', kind: 'text' },
              { heading: 'Seen', kind: 'number' },
              { heading: 'Not seen', kind: 'number' },
              { heading: 'Difference (limits)', kind: 'number' },
            ],
            absence.baseline.map((row) => {
              const write = (value: number): string => baselineText(row, value);
              const { name, seen, unseen, difference, limits } = row;
              return [
                name,
                `${write(seen.value)} (${seen.n})`,
                `${write(unseen.value)} (${unseen.n})`,
                `${write(difference)} (${write(limits.lower)} to ${write(limits.upper)})`,
              ];
            }),
          )
    }
  </section>`;
}
