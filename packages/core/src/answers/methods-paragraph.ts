import type { MethodErrorInForce } from '../agreement';
import type { Unit } from '../measures/definition';
import { isRefusal } from '../numeric';
import type { OutcomeAnswer } from './answer';
import type { SplitAnswer } from './gave-way-answer';
import { GROUPING_WORDS } from './grouping';
import { countText, levelText, measureText, numberText } from './number-text';
import type { SensitivityAnswer, SensitivityAspect, SensitivityRow } from './sensitivity-answer';
import type { SurvivalGroupsAnswer } from './survival-groups-answer';
import { doubtWords } from './survival-words';
import { RULE_WORDS, thresholdText } from './words';

/** Works that a methods paragraph cites, by the name it uses. Cited from memory unless a source was at hand. */
const WORKS: Readonly<Record<string, string>> = {
  'Laird and Ware 1982':
    'Laird NM, Ware JH. Random-effects models for longitudinal data. Biometrics 1982;38:963-74.',
  'Dahlberg 1940':
    'Dahlberg G. Statistical methods for medical and biological students. London: Allen and Unwin; 1940.',
  'Searle, Casella and McCulloch 1992':
    'Searle SR, Casella G, McCulloch CE. Variance components. New York: Wiley; 1992.',
  'Burdick and Graybill 1992':
    'Burdick RK, Graybill FA. Confidence intervals on variance components. New York: Marcel Dekker; 1992.',
  'Fieller 1954': 'Fieller EC. Some problems in interval estimation. J R Stat Soc B 1954;16:175-85.',
  'Efron and Tibshirani 1993':
    'Efron B, Tibshirani RJ. An introduction to the bootstrap. New York: Chapman and Hall; 1993.',
  'Turnbull 1976':
    'Turnbull BW. The empirical distribution function with arbitrarily grouped, censored and truncated data. J R Stat Soc B 1976;38:290-5.',
  'Korn and Graubard 1998':
    'Korn EL, Graubard BI. Confidence intervals for proportions with small expected number of positive counts estimated from survey data. Surv Methodol 1998;24:193-201.',
  'Kaplan and Meier 1958':
    'Kaplan EL, Meier P. Nonparametric estimation from incomplete observations. J Am Stat Assoc 1958;53:457-81.',
  'Cox 1972': 'Cox DR. Regression models and life-tables. J R Stat Soc B 1972;34:187-220.',
  'Sun 1996':
    'Sun J. A non-parametric test for interval-censored failure time data with application to AIDS studies. Stat Med 1996;15:1387-95.',
  'Holm 1979': 'Holm S. A simple sequentially rejective multiple test procedure. Scand J Stat 1979;6:65-70.',
  'Aalen and Johansen 1978':
    'Aalen OO, Johansen S. An empirical transition matrix for non-homogeneous Markov chains based on censored observations. Scand J Stat 1978;5:141-50.',
  'Satterthwaite 1946':
    'Satterthwaite FE. An approximate distribution of estimates of variance components. Biometrics Bull 1946;2:110-4.',
  'Welch 1947':
    "Welch BL. The generalization of 'Student's' problem when several different population variances are involved. Biometrika 1947;34:28-35.",
  'Newcombe 1998':
    'Newcombe RG. Interval estimation for the difference between independent proportions: comparison of eleven methods. Stat Med 1998;17:873-90.',
  'Manski 2003': 'Manski CF. Partial identification of probability distributions. New York: Springer; 2003.',
  'Pancherz 1982':
    'Pancherz H. The mechanism of Class II correction in Herbst appliance treatment. Am J Orthod 1982;82:104-13.',
  'Baccetti, Franchi and McNamara 2005':
    'Baccetti T, Franchi L, McNamara JA. The cervical vertebral maturation method for the assessment of optimal treatment timing in dentofacial orthopedics. Semin Orthod 2005;11:119-29.',
};

/** A methods paragraph ready to be put into a paper, and the works it cites, in order of first mention. */
export interface MethodsText {
  readonly sentences: readonly string[];
  readonly references: readonly string[];
}

/** What is said of something that stands beside the answer, and further works that it cites by the name it uses. */
export interface MethodsBeside {
  readonly sentences: readonly string[];
  readonly works: Readonly<Record<string, string>>;
}

/**
 * States exactly what was done for one answer: patients, definitions, reference, error, estimators, seed, version. A
 * part that the answer lacks is not claimed.
 *
 * @param sensitivity the same question with one thing changed at a time; null where it was not asked again
 * @param beside what else is reported with it; null for nothing
 */
export function methodsText(
  answer: OutcomeAnswer,
  version: string,
  sensitivity: SensitivityAnswer | null = null,
  beside: MethodsBeside | null = null,
): MethodsText {
  const sentences = [
    patientsSentence(answer),
    gainSentence(answer),
    ...filmSentences(answer),
    ...clockSentences(answer),
    ...errorSentences(answer),
    ...retentionMethods(answer),
    ...survivalMethods(answer),
    ...separationMethods(answer),
    ...gaveWayMethods(answer),
    ...absenceMethods(answer),
    ...sensitivityMethods(sensitivity),
    ...(beside?.sentences ?? []),
    closingSentence(answer, version),
  ];
  const text = sentences.join(' ');
  const cited = Object.entries({ ...WORKS, ...beside?.works })
    .map(([name, work]) => ({ work, at: text.indexOf(name) }))
    .filter(({ at }) => at >= 0)
    .sort((a, b) => a.at - b.at);
  return { sentences, references: cited.map(({ work }) => work) };
}

function patientsSentence({ question, treated, untreated, asOf, leftOut }: OutcomeAnswer): string {
  const { protocol, sex, expansion, maturity } = question.filter;
  const only = [
    protocol === null ? [] : [`protocol ${protocol}`],
    sex === null ? [] : [sex],
    expansion === null ? [] : [expansion ? 'upper jaw widened' : 'upper jaw not widened'],
    maturity === null ? [] : [`maturity ${maturity.replace('-', ' ')} at the start`],
  ].flat();
  const which = only.length === 0 ? '' : ` (${only.join(', ')})`;
  const withoutConsent = leftOut.find(({ reason }) => reason === 'no-consent')?.codes.length ?? 0;
  const day = asOf === null ? '' : ` with records up to ${asOf}`;
  return `The cohort comprised ${countText(treated)} treated ${treated === 1 ? 'patient' : 'patients'}${which} and ${countText(untreated)} untreated ${untreated === 1 ? 'child' : 'children'}${day}${withoutConsent === 0 ? '' : `; ${countText(withoutConsent)} of the treated, without consent for follow-up, were counted but not judged`}.`;
}

function gainSentence({ measure, reference, question, gain }: OutcomeAnswer): string {
  const carried = gain !== null;
  const change = `The gain in ${measure.name.toLowerCase()} (${measure.code}) was the change since the start of treatment in the favourable direction (${measure.direction === 1 ? 'larger' : 'smaller'} values)`;
  switch (reference.kind) {
    case 'not-needed':
      return `${change}, without adjustment for growth.`;
    case 'none':
      return `${change}; expected growth was not known, so no gain could be computed.`;
    case 'built-in-table':
      return `${change}, minus the growth expected of children of the same sex ${question.growthClock === 'age' ? 'between the same ages' : 'over the same stretch of growth'}, taken from a table (${reference.provenance.text}) whose own uncertainty is not known and is in no interval.`;
    case 'imported-table': {
      const points = reference.byStage
        ? 'means by stage of cervical vertebral maturation, placed at the ages at which children usually have them'
        : 'means by age';
      const doubt = reference.meansUncertaintyKnown
        ? `the standard errors of its means, taken as independent, ${carried ? 'were carried into the intervals of group results' : 'are known'}`
        : 'the uncertainty of its means is not known and is in no interval';
      return `${change}, minus the growth expected of children of the same sex ${question.growthClock === 'age' ? 'between the same ages' : 'over the same stretch of growth'}, taken from an imported table (${reference.name}: ${reference.source}; ${points}, multiplied by ${reference.filmFactor} to give natural size, joined by straight lines); ${doubt}.`;
    }
    case 'untreated-series': {
      const children = reference.series.reduce((sum, series) => sum + series.children, 0);
      const by = question.growthClock === 'age' ? 'between the same ages' : 'over the same stretch of growth';
      return `${change}, minus the growth expected of untreated children of the same sex ${by}; expected growth was a natural cubic spline in age for each sex (${reference.degreesOfFreedom} degrees of freedom, chosen by Akaike's criterion) with a level and a rate of each child's own, fitted to ${countText(children)} untreated children by restricted maximum likelihood (Laird and Ware 1982)${carried ? ', and its uncertainty was carried into the intervals of group results' : ''}.`;
    }
  }
}

function filmSentences({ measure, question, films, treated, untreated }: OutcomeAnswer): string[] {
  if (!measure.enlarged || treated + untreated === 0) return [];
  const without = countText(films.unknown + films.assumed);
  const rest =
    films.assumed > 0
      ? `; where no factor was recorded (${without} children) it was taken to be ${question.filmFactor ?? 1}`
      : films.unknown > 0
        ? `; values from films without a recorded factor (${without} children) were not used`
        : '';
  return [
    `Lengths were brought to natural size by the factor recorded for the films of each visit, the distance from focus to the midplane of the head over that from focus to film${rest}.`,
  ];
}

function clockSentences({ question, reference, gain }: OutcomeAnswer): string[] {
  if (gain === null) return [];
  if (question.growthClock === 'age' || reference.kind === 'not-needed' || reference.kind === 'none')
    return [];
  return [
    'Children were placed on the growth curve by their stage of cervical vertebral maturation at the start of treatment (Baccetti, Franchi and McNamara 2005) instead of their age, with a standard deviation of 0.6 years for the placement; those without a stage, or at CS5 or CS6, stayed on their age.',
  ];
}

function errorSentences({ methodError, measure, question }: OutcomeAnswer): string[] {
  const sd = measureText(methodError.retracingSd, measure.unit, 2);
  const factor =
    question.errorFactor === 1 ? '' : `, multiplied by ${question.errorFactor} to see how much hangs on it`;
  const part = methodError.films.source === 'no-film' ? 'one reading' : 'retracing one film';
  const retracing =
    methodError.source === 'duplicates'
      ? `The method error of ${part} was ${sd} (Dahlberg 1940), from ${methodError.duplicates?.pairs ?? 0} pairs of duplicate readings${factor}.`
      : `The method error of ${part} was taken to be ${sd}, a default and not the authors' own${factor}.`;
  return [retracing, ...filmErrorSentences(methodError, measure.unit)];
}

function filmErrorSentences({ films, sd }: MethodErrorInForce, unit: Unit): string[] {
  const [part, whole] = [measureText(films.sd, unit, 2), measureText(sd, unit, 2)];
  const weights =
    'further readings of a film were taken to lessen the error of retracing only, and films of one visit counted alike.';
  switch (films.source) {
    case 'no-film':
      return [];
    case 'not-known':
      return ['The error between two films of one child was not known and was left out.'];
    case 'default':
      return [
        `The error between two films of one child was taken to be ${part}, a published figure and not the authors' own, which makes ${whole} for one film read once; ${weights}`,
      ];
    case 'second-films':
      return [
        `The error between two films of one visit was ${part}, by nested analysis of variance of ${countText(films.own?.visitsWithFilms ?? 0)} visits with more than one film (Searle, Casella and McCulloch 1992; Burdick and Graybill 1992), which makes ${whole} for one film read once; ${weights}`,
      ];
  }
}

function retentionMethods({ question, gain, retained }: OutcomeAnswer): string[] {
  if (gain === null)
    return ['Fewer than two patients had a gain, so neither a mean gain nor a retained share was estimated.'];
  const shares = retained.filter(({ share }) => share !== null);
  if (shares.length === 0)
    return ['In no year were two patients or more seen, so no retained share was estimated.'];
  const drawn = shares.filter(({ bootstrap }) => bootstrap !== null).length;
  const where = drawn === shares.length ? '' : ' in the years that allowed it,';
  const resampled =
    drawn === 0
      ? ''
      : ` and, beside it${where}, bootstrap limits from ${countText(Math.max(100, question.resamples))} resamples of patients (Efron and Tibshirani 1993)`;
  return [
    `The retained share at a year was the ratio of mean gains of the patients seen within half a year of that anniversary, with Fieller's confidence set (Fieller 1954)${resampled}.`,
  ];
}

function survivalMethods(answer: OutcomeAnswer): string[] {
  const { survival, groups, question, measure, reference } = answer;
  if (survival === null) return [];
  const tested = groups?.tests.some(({ grouping, test }) => grouping === groups.grouping && test !== null);
  return [
    `A gain was taken to stay while there was ${thresholdText(question, measure)}. ${RULE_WORDS[question.rule]} Time to loss, censored in the interval between two visits, was estimated by nonparametric maximum likelihood (Turnbull 1976) with exact binomial limits for the effective number of patients from ${countText(survival.turnbull.resamples)} resamples (Korn and Graubard 1998)${doubtText(survival, reference)}; the conventional estimate (Kaplan and Meier 1958) is given beside it${survival.turnbull.restrictedMean === null ? '' : `, and the mean time with the gain within ${survival.turnbull.restrictedMean.until} years as the area under the curve`}.${secondTreatments(answer)}`,
    ...(groups === null || tested !== true ? [] : [groupSentence(groups, measure.unit)]),
  ];
}

function secondTreatments({ survival, competing }: OutcomeAnswer): string {
  const again =
    survival === null || survival.treatedAgain === 0
      ? ''
      : ' Patients treated again were censored at their last visit before.';
  return competing === null || competing.points.length === 0
    ? again
    : `${again} Cumulative incidences with a second treatment as a competing event follow Aalen and Johansen 1978.`;
}

function groupSentence(groups: SurvivalGroupsAnswer, unit: Unit): string {
  const fitted = groups.regressions.flatMap((one) =>
    isRefusal(one) ? [] : [one.distribution === 'weibull' ? 'Weibull' : 'log-logistic'],
  );
  const regression = fitted.length === 0 ? '' : ` and by ${fitted.join(' and ')} regression of the intervals`;
  const cox = isRefusal(groups.cox)
    ? ''
    : ", with Cox's regression (Cox 1972) of the conventional times beside";
  const tests = groups.tests.filter(({ test }) => test !== null).length;
  const holm =
    tests < 2 ? '' : `; p values of all ${tests} groupings were corrected for each other (Holm 1979)`;
  const divided =
    groups.dividingGain === null
      ? ''
      : `, divided at their median of ${measureText(groups.dividingGain, unit, 2)},`;
  return `Groups by ${GROUPING_WORDS[groups.grouping].toLowerCase()}${divided} were compared by a log-rank test for interval-censored times (Sun 1996)${regression}${cox}${holm}.`;
}

/** How the doubt about curve and error came into the limits of survival, or that it did not. */
function doubtText(
  survival: NonNullable<OutcomeAnswer['survival']>,
  reference: OutcomeAnswer['reference'],
): string {
  const { carried, notKnown } = doubtWords(survival, reference);
  const drawn =
    carried === null
      ? ''
      : `, each with ${carried} drawn anew within their estimated error (what these draws move is also in the intervals of cumulative incidences and time ratios and in the tests between groups)`;
  return `${drawn}${notKnown === null ? '' : `, without the uncertainty of ${notKnown}, which is not known`}`;
}

function separationMethods({ separation, reference }: OutcomeAnswer): string[] {
  const { growthClock, fadingPart } = separation;
  const sentences: string[] = [];
  if (!isRefusal(growthClock)) {
    const structure = growthClock.simplified ? 'uncorrelated' : 'correlated';
    const known =
      reference.kind === 'built-in-table' ||
      (reference.kind === 'imported-table' && !reference.meansUncertaintyKnown);
    const curve = known
      ? 'the growth curve taken as known'
      : "the growth curve's uncertainty added to first order";
    sentences.push(
      `Lasting gain (T) and years of growth brought forward (S) were estimated from ${countText(separation.gains)} gains of ${countText(separation.patients)} patients by the linear mixed model A = (T + u) + (S + w) v(age) + e with v the expected growth velocity and ${structure} random effects of patients, by restricted maximum likelihood, with ${growthClock.lasting.df === null ? 'limits of the normal distribution' : "Satterthwaite's degrees of freedom (Satterthwaite 1946)"} and ${curve}.`,
    );
  }
  if (!isRefusal(fadingPart)) {
    const tau = fadingPart.tauBounded ? `${numberText(fadingPart.tau, 1)} years` : 'not fixed by the data';
    sentences.push(
      `A model with a part that fades as exp(-t/tau) was fitted${isRefusal(growthClock) ? '' : ' for comparison'}, tau by profile likelihood (${tau}).`,
    );
  }
  return sentences;
}

/** What a report holds beside the answer itself: the same question answered with one thing changed. */
function sensitivityMethods(sensitivity: SensitivityAnswer | null): string[] {
  if (sensitivity === null) return [];
  const references = sensitivity.references.rows.filter(
    ({ inForce, results }) => !inForce && results !== null && results.patients > 0,
  );
  const changed = CHANGED_WORDS.flatMap(({ aspect, words }) =>
    sensitivity.rows.some((row) => row.aspect === aspect && !row.inForce && hasResult(row)) ? [words] : [],
  );
  return [
    ...(references.length === 0
      ? []
      : [
          `The question was answered again under other growth references (${references.map(({ label }) => label).join('; ')}).`,
        ]),
    ...(changed.length === 0
      ? []
      : [`The question was answered again with one choice changed at a time: ${changed.join(', ')}.`]),
  ];
}

const CHANGED_WORDS: readonly { readonly aspect: SensitivityAspect; readonly words: string }[] = [
  { aspect: 'rule', words: 'loss rule' },
  { aspect: 'error', words: 'method error' },
  { aspect: 'threshold', words: 'threshold' },
  { aspect: 'protocol', words: 'protocol' },
  { aspect: 'absence', words: 'what became of those who stayed away' },
];

function hasResult({ retained, survival, atYears, lasting }: SensitivityRow): boolean {
  return (
    retained !== null ||
    survival?.estimate != null ||
    lasting !== null ||
    atYears.some(({ estimate }) => estimate !== null)
  );
}

function gaveWayMethods({ gaveWay }: OutcomeAnswer): string[] {
  const has = (splits: readonly SplitAnswer[]): boolean => splits.some(({ whole }) => whole !== null);
  const corrections = [
    ...(has(gaveWay.overjet) ? ['overjet'] : []),
    ...(has(gaveWay.molar) ? ['molar relation'] : []),
  ];
  const parts = [
    ...(corrections.length === 0
      ? []
      : [
          `changes of ${corrections.join(' and ')} were split into movements of jaws and of teeth within the jaws along the occlusal line (Pancherz 1982)`,
        ]),
    ...(has(gaveWay.chin)
      ? ['changes of chin position were split into length, turn and hinge of the lower jaw']
      : []),
  ].join(', and ');
  if (parts === '') return [];
  const compared = [...gaveWay.overjet, ...gaveWay.molar, ...gaveWay.chin].some(
    ({ whole }) => whole !== null && whole.beyondUntreated !== null,
  );
  const untreated = compared
    ? '; differences from untreated children of the same ages carry t intervals for unequal variances (Welch 1947)'
    : '';
  return [`${parts.charAt(0).toUpperCase()}${parts.slice(1)}${untreated}.`];
}

function absenceMethods({ absence }: OutcomeAnswer): string[] {
  const away = absence.stayedAway + absence.neverSeen;
  const { baseline } = absence;
  return [
    ...(away === 0 || absence.bounds.length === 0
      ? []
      : [
          `For the ${countText(away)} patients who stayed away, survival was bounded by letting all of them keep or lose their gain after the last visit (Manski 2003).`,
        ]),
    ...(baseline.length === 0 ? [] : [comparisonSentence(baseline)]),
  ];
}

/** How those seen were compared with those not seen. */
function comparisonSentence(baseline: OutcomeAnswer['absence']['baseline']): string {
  const means = baseline.some(({ kind }) => kind === 'mean') ? ['means (Welch 1947)'] : [];
  const shares = baseline.some(({ kind }) => kind === 'share') ? ['shares (Newcombe 1998)'] : [];
  return `Patients seen and not seen were compared by differences of ${[...means, ...shares].join(' and of ')}.`;
}

/** Level and seed, where there is an interval or a resampling to name them for; the program and its version. */
function closingSentence(answer: OutcomeAnswer, version: string): string {
  const { question, gain, survival, separation, retained } = answer;
  const intervals = gain !== null || survival !== null || separation.diagnosis !== null;
  const drawn = survival !== null || retained.some(({ bootstrap }) => bootstrap !== null);
  const level = intervals ? `All intervals are at ${levelText(question.level)}; all` : 'All';
  return `${level} computations were done with Longhold ${version}${drawn ? ` (seed ${question.seed})` : ''}.`;
}
