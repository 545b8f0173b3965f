import type {
  ComparedResults,
  FadingAnswer,
  OutcomeAnswer,
  RatioInterval,
  SensitivityAnswer,
  SplitAnswer,
  SurvivalGroupsAnswer,
  TwoPartAnswer,
} from '@longhold/core/answers';
import { isRefusal, type Refusal } from '@longhold/core/numeric';
import type { Results } from './results-schema';

type Ratio = Pick<Results['retained'][number], 'estimate' | 'limits' | 'intervalKind'>;
type Models = Pick<Results, 'groups' | 'competing' | 'separation' | 'gains' | 'gaveWay' | 'absence'>;

/** The models and comparisons of an answer in the form of results.json. */
export function modelsOf(answer: OutcomeAnswer): Models {
  const { groups, competing, separation, gains, gaveWay, absence } = answer;
  const { growthClock, fadingPart } = separation;
  return {
    groups: groups === null ? null : groupsOf(groups),
    competing:
      competing === null
        ? null
        : { ...competing, points: [...competing.points], atYears: [...competing.atYears] },
    separation: {
      ...separation,
      growthClock: isRefusal(growthClock) ? growthClock : twoPartsOf(growthClock),
      fadingPart: isRefusal(fadingPart) ? fadingPart : fadingOf(fadingPart),
      quietAges: [...separation.quietAges],
    },
    gains: {
      patient: gains.map(({ code }) => code),
      years: gains.map(({ years }) => years),
      gain: gains.map(({ gain }) => gain),
      velocity: gains.map(({ velocity }) => velocity),
    },
    gaveWay: {
      ...gaveWay,
      overjet: gaveWay.overjet.map(splitOf),
      molar: gaveWay.molar.map(splitOf),
      chin: gaveWay.chin.map(splitOf),
      turn: [...gaveWay.turn],
    },
    absence: {
      ...absence,
      bounds: [...absence.bounds],
      survivalTip:
        absence.survivalTip === null
          ? null
          : { ...absence.survivalTip, table: [...absence.survivalTip.table] },
      shareTip:
        absence.shareTip === null ? null : { ...absence.shareTip, table: [...absence.shareTip.table] },
      baseline: [...absence.baseline],
    },
  };
}

/** A share with its confidence set in fields that always exist. */
export function ratioOf(
  share: { readonly estimate: number; readonly interval: RatioInterval } | null,
): Ratio {
  if (share === null) return { estimate: null, limits: null, intervalKind: null };
  const { estimate, interval } = share;
  const { kind } = interval;
  if (kind === 'whole-line') return { estimate, limits: null, intervalKind: kind };
  const lower = kind === 'at-most' ? null : interval.lower;
  const upper = kind === 'at-least' ? null : interval.upper;
  return { estimate, limits: { lower, upper }, intervalKind: kind };
}

type TwoParts = Exclude<Results['separation']['growthClock'], Refusal>;

function twoPartsOf({ share, edges, course, ...rest }: TwoPartAnswer): TwoParts {
  const { gainAtEnd, df } = share;
  return { ...rest, share: { gainAtEnd, ...ratioOf(share), df }, edges: [...edges], course: [...course] };
}

function fadingOf({
  tau,
  tauLower,
  tauUpper,
  tauAtEdge,
  tauBounded,
  ...parts
}: FadingAnswer): Exclude<Results['separation']['fadingPart'], Refusal> {
  return { ...twoPartsOf(parts), tau, tauLower, tauUpper, tauAtEdge, tauBounded };
}

function splitOf({
  skeletalShare,
  parts,
  leftOut,
  ...split
}: SplitAnswer): Results['gaveWay']['overjet'][number] {
  return {
    ...split,
    leftOut: leftOut.map(({ reason, codes }) => ({ reason, codes: [...codes] })),
    parts: [...parts],
    skeletalShare: skeletalShare === null ? null : ratioOf(skeletalShare),
  };
}

function groupsOf(answer: SurvivalGroupsAnswer): NonNullable<Results['groups']> {
  return {
    ...answer,
    groups: answer.groups.map(({ points: _points, atYears, ...group }) => ({
      ...group,
      atYears: [...atYears],
    })),
    tooSmall: [...answer.tooSmall],
    meanDifferences: [...answer.meanDifferences],
    regressions: answer.regressions.map((one) =>
      isRefusal(one)
        ? one
        : {
            ...one,
            timeRatios: [...one.timeRatios],
            hazardRatios: one.hazardRatios === null ? null : [...one.hazardRatios],
          },
    ),
    cox: isRefusal(answer.cox) ? answer.cox : [...answer.cox],
    tests: answer.tests.map((test) => ({ ...test, groups: [...test.groups] })),
  };
}

/** The sensitivity of an answer in the form of results.json. */
export function sensitivityOf({
  rows,
  references: _references,
  ...rest
}: SensitivityAnswer): Results['sensitivity'] {
  return {
    ...rest,
    rows: rows.map(({ aspect, choice, inForce, ...results }) => ({
      aspect,
      choice,
      inForce,
      ...comparedOf(results),
    })),
  };
}

/** The answer under every growth reference in the form of results.json. */
export function referencesOf({ references }: SensitivityAnswer): Results['references'] {
  return {
    needed: references.needed,
    rows: references.rows.map(({ results, ...row }) => ({
      ...row,
      results:
        results === null
          ? null
          : {
              gain: results.gain,
              followed: results.followed,
              dropsOut: results.dropsOut.map(({ reason, codes }) => ({ reason, codes: [...codes] })),
              comesIn: [...results.comesIn],
              notCovered: [...results.notCovered],
              notPlaced: [...results.notPlaced],
              ...comparedOf(results),
            },
    })),
  };
}

type Compared = Omit<Results['sensitivity']['rows'][number], 'aspect' | 'choice' | 'inForce'>;

function comparedOf({
  patients,
  retained,
  survival,
  atYears,
  lasting,
  share,
  diagnosis,
  lastingRefused,
}: ComparedResults): Compared {
  return {
    patients,
    retained: retained === null ? null : { n: retained.n, ...ratioOf(retained) },
    survival,
    atYears: [...atYears],
    lasting,
    share: share === null ? null : ratioOf(share),
    diagnosis,
    lastingRefused,
  };
}
