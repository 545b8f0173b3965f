import {
  steppedCount,
  steppedMean,
  steppedProbability,
  steppedSpread,
  steppedStage,
  steppedTest,
} from './shown-precision';
import type { ShownCount, ViewedFlowYear, ViewedGroup, ViewedMeasure, ViewedQuantity } from './view';

/** A measure as members are told it who do not see the centres: counts and values in the steps in which they are printed. */
export function toldMeasure(measure: ViewedMeasure, smallestCell: number): ViewedMeasure {
  const count = (patients: ShownCount): ShownCount => steppedCount(patients, smallestCell);
  const { survivalDifferences, separationDifferences, groupTest, spread } = measure;
  return {
    ...measure,
    treated: count(measure.treated),
    inRiskSet: count(measure.inRiskSet),
    leftOut: measure.leftOut.map(({ reason, patients }) => ({ reason, patients: count(patients) })),
    flow: measure.flow.map((year) => toldFlow(year, count)),
    quantities: measure.quantities.map((quantity) => toldQuantity(quantity, count)),
    survivalDifferences: survivalDifferences === null ? null : steppedTest(survivalDifferences),
    separationDifferences: separationDifferences === null ? null : steppedTest(separationDifferences),
    spread: spread === null ? null : steppedSpread(spread, measure.centres, smallestCell),
    groups: measure.groups.map((group) => toldGroup(group, count)),
    groupTest: groupTest === null ? null : steppedTest(groupTest),
    competing: measure.competing.map(({ year, neither, lost, treatedAgain }) => ({
      year,
      neither: steppedProbability(neither),
      lost: steppedProbability(lost),
      treatedAgain: steppedProbability(treatedAgain),
    })),
  };
}

type Told = (patients: ShownCount) => ShownCount;

function toldFlow({ year, eligible, seen, measured, notSeen }: ViewedFlowYear, count: Told): ViewedFlowYear {
  return {
    year,
    eligible: count(eligible),
    seen: count(seen),
    measured: count(measured),
    notSeen: {
      withdrew: count(notSeen.withdrew),
      moved: count(notSeen.moved),
      declined: count(notSeen.declined),
      'treated-again': count(notSeen['treated-again']),
      'no-consent': count(notSeen['no-consent']),
      'not-known': count(notSeen['not-known']),
    },
  };
}

function toldQuantity(quantity: ViewedQuantity, count: Told): ViewedQuantity {
  const { kind, patients, twoStage, oneStage } = quantity;
  return {
    ...quantity,
    patients: count(patients),
    twoStage: twoStage === null ? null : steppedMean(twoStage, kind),
    oneStage: oneStage === null ? null : steppedStage(oneStage, kind),
  };
}

function toldGroup({ label, patients, atYears }: ViewedGroup, count: Told): ViewedGroup {
  return {
    label,
    patients: count(patients),
    atYears: atYears.map((at) => ({
      year: at.year,
      patients: count(at.patients),
      oneStage: at.oneStage === null ? null : steppedStage(at.oneStage, 'survival'),
    })),
  };
}
