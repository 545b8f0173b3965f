import { maturityGroupOf, type MaturityGroup, type PatientHistory, type Study } from '../records';
import type { OutcomeQuestion } from './question';

/** The treated patients that a question asks about, with consent for follow-up or without. */
export function askedAbout(study: Study, question: OutcomeQuestion): PatientHistory[] {
  return study.filter(({ patient }) => patient.group === 'treated' && passes(patient, question));
}

function passes(patient: PatientHistory['patient'], { filter }: OutcomeQuestion): boolean {
  return (
    (filter.protocol === null || patient.protocol === filter.protocol) &&
    (filter.sex === null || patient.sex === filter.sex) &&
    (filter.expansion === null || patient.expansion === filter.expansion) &&
    (filter.maturity === null || isOfMaturity(patient, filter.maturity))
  );
}

function isOfMaturity({ maturityStart }: PatientHistory['patient'], group: MaturityGroup): boolean {
  return maturityStart !== null && maturityGroupOf(maturityStart) === group;
}
