import type { RandomStream } from '@longhold/core/numeric';
import type { PatientHistory, Study } from '@longhold/core/records';
import { generateDemo } from '@longhold/demo';

const FEWEST = 12;
/** Millimetres; small enough that no value leaves what is possible. */
const STEP = 0.1;

const invented = generateDemo({ seed: 31, patients: 40 }).study.filter(
  ({ patient }) => patient.consentPooling && patient.consentFollowUp,
);

/** Invented patients who all take part in pooling, under codes from a number on. */
export function patientsFrom(first: number, count: number): PatientHistory[] {
  return Array.from({ length: count }, (_unused, index) => {
    const history = invented[(first + index) % invented.length];
    if (history === undefined) throw new Error('the invented study is empty');
    const code = `N-${String(first + index).padStart(6, '0')}`;
    return { ...history, patient: { ...history.patient, code } };
  });
}

/** What happens at a clinic before it sends again: new values, now and then a consent taken back, new patients. */
export function nextPatients(study: Study, random: RandomStream): PatientHistory[] {
  const taking = study.filter(({ patient }) => patient.consentPooling);
  const changed = taking.filter(() => random.integer(4) === 0).map(longer);
  const leaving = random.integer(2) === 0 ? taking[random.integer(taking.length)] : undefined;
  const codes = new Set(leaving === undefined ? [] : [leaving.patient.code]);
  const fresh = taking.length < FEWEST ? patientsFrom(study.length, 2) : [];
  return [
    ...changed.filter(({ patient }) => !codes.has(patient.code)),
    ...(leaving === undefined ? [] : [withoutConsent(leaving)]),
    ...fresh,
  ];
}

/** The patient with one measure a little longer at every visit. */
export function longer(history: PatientHistory): PatientHistory {
  return {
    ...history,
    visits: history.visits.map((visit) => ({
      ...visit,
      measurements: visit.measurements.map((one) =>
        one.measure === 'Co-Gn' ? { ...one, value: Math.round(10 * (one.value + STEP)) / 10 } : one,
      ),
    })),
  };
}

/** The patient after consent to pooling was taken back. */
export function withoutConsent(history: PatientHistory): PatientHistory {
  return { ...history, patient: { ...history.patient, consentPooling: false } };
}
