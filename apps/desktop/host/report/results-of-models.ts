import type {
  ComparedResults,
  FadingAnswer,
  OutcomeAnswer,
  SensitivityAnswer,
  SplitAnswer,
  SurvivalGroupsAnswer,
  TwoPartAnswer,
} from '@longhold/core/answers';
import { isRefusal, type Refusal } from '@longhold/core/numeric';
import { readingColumns } from './results-columns';
import { ratioOf } from './results-ratio';
import type { Results } from './results-schema';

type Models = Pick<Results, 'groups' | 'competing' | 'separation' | 'gaveWay' | 'absence'>;

/** The models and comparisons of an answer in the form of results.json. */
export function modelsOf(answer: OutcomeAnswer): Models {
  const { groups, competing, separation, gaveWay, absence, rows } = answer;
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
    gaveWay: {
      ...gaveWay,
      overjet: gaveWay.overjet.map(splitOf),
      molar: gaveWay.molar.map(splitOf),
      chin: gaveWay.chin.map(splitOf),
      turn: [...gaveWay.turn],
      readings: readingColumns(rows.gaveWay),
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
