import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import { patientsText } from '../answers/number-text';
import { clinicContribution } from './clinic-contribution';
import { changesWords, contributionWords, PSEUDONYMISED_SENTENCE } from './contribution-words';
import { definitionWith, FINEST, heldAs, pseudonymOf, recordWith } from './contribution.fixture';

const demo = generateDemo({ seed: 7, patients: 120 });
const context = { asOf: demo.today, filmFactor: null };
const definition = definitionWith();
const contribution = clinicContribution(demo.study, definition, pseudonymOf, context);
const words = contributionWords(contribution, definition);

describe('what a clinic is told before it sends', () => {
  it('is how many leave, and with what', () => {
    const treated = contribution.records.filter(({ group }) => group === 'treated').length;
    const untreated = contribution.records.length - treated;
    expect(words.leaves[0]).toContain(`${treated} treated and ${untreated} untreated patients`);
    expect(words.leaves.join(' ')).toContain('Co-Gn, SNB, overjet');
    expect(words.law).toBe(PSEUDONYMISED_SENTENCE);
    expect(words.law).toContain('still personal data');
  });

  it('is in the first sentence that other clinics will read the records, where the study shares them', () => {
    const shared = contributionWords(contribution, definitionWith({ recordsShared: true }));
    expect(shared.leaves[0]).toMatch(/other clinics .* will read the records that leave, row by row/);
    expect(words.leaves.join(' ')).not.toMatch(/other clinics/);
  });

  it('is for how many each thing was made less precise', () => {
    const wider = contribution.coarsening.filter(({ ageStepMonths }) => ageStepMonths > 3).length;
    const noProtocol = contribution.coarsening.filter(({ protocol }) => protocol === 'removed').length;
    expect(words.coarsened[0]).toBe(
      'Ages are the middle of bands of 3 months. Days are rounded to steps of 7.',
    );
    expect(words.coarsened).toContain(`Age is given in wider bands, up to 24 months, for ${wider} patients.`);
    expect(words.coarsened).toContain(`Protocol is not given for ${noProtocol} patients.`);
    const finest = definitionWith({ coarsening: FINEST });
    const exact = contributionWords(clinicContribution(demo.study, finest, pseudonymOf, context), finest);
    expect(exact.coarsened[0]).toBe('Ages are the middle of bands of 1 month. Days are exact.');
    expect(exact.coarsened).toHaveLength(2);
  });

  it('names everyone who is left out, once, by reason', () => {
    const named = words.leftOut.flatMap(({ codes }) => codes);
    expect(named.sort()).toEqual(contribution.leftOut.map(({ code }) => code).sort());
    expect(words.leftOut[0]?.words).toBe('No consent for pooling');
  });

  it('says what could still be found out, in the numbers of the risk', () => {
    const { risk } = contribution;
    expect(words.risk[0]).toContain(`the smallest group is ${patientsText(risk.smallestGroup ?? NaN)}.`);
    expect(words.risk[1]).toMatch(
      new RegExp(`^${risk.inSmallGroups} patients are in groups of fewer than 10`),
    );
    expect(words.risk.join(' ')).toContain(`${risk.uniqueVisitDays} of ${risk.records} have a pattern`);
  });

  it('is that nothing leaves where nobody consents', () => {
    const none = demo.study.map((history) => ({
      ...history,
      patient: { ...history.patient, consentPooling: false },
    }));
    const empty = contributionWords(clinicContribution(none, definition, pseudonymOf, context), definition);
    expect(empty.leaves).toEqual(['Nothing leaves: no patient can be contributed.']);
    expect([...empty.coarsened, ...empty.risk]).toEqual([]);
    expect(JSON.stringify(empty)).not.toMatch(/NaN|Infinity|null/);
  });

  it('says what becomes of patients whose consent is gone, who are not in the store, or whom another desktop sent otherwise', () => {
    const pseudonym = pseudonymOf('a boy');
    const sentences = changesWords({
      fresh: [],
      changed: [],
      conflicts: [{ mine: recordWith(), content: 'c', theirs: heldAs(recordWith()) }],
      withdrawn: [
        { pseudonym, reason: 'not-in-store' },
        { pseudonym, reason: 'no-pooling-consent' },
        { pseudonym, reason: 'no-follow-up-consent' },
      ],
      heldBack: [{ pseudonym, reason: 'no-start' }],
      unchanged: [pseudonym],
    });
    expect(sentences).toEqual([
      '1 patient is in the pool as now.',
      '1 patient was sent otherwise by another desktop of your clinic. Nothing of this patient is sent until you have ' +
        'chosen.',
      '2 patients will be withdrawn, because consent is gone. A withdrawal cannot be undone.',
      '1 patient in the pool is not among your records. The pool keeps what it has of them unless you withdraw them.',
      '1 patient cannot be sent as recorded now. The pool keeps what it has of them.',
    ]);
  });
});
