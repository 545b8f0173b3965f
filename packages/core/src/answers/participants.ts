import { sortedQuantile } from '../numeric';
import type { OutcomeAnswer, PatientOutcome } from './answer';
import { groupLabel, GROUPINGS, medianGain, MATURITY_WORDS } from './grouping';
import type { Grouping } from './question';

/** How many patients are of each kind. */
export interface ParticipantCounts {
  readonly characteristic: Exclude<Grouping, 'gain'>;
  readonly groups: readonly { readonly label: string; readonly patients: number }[];
  readonly notRecorded: number;
}

/** A quantity of patients that has no kinds but a size. */
export type ParticipantQuantity = 'age-at-end' | 'gain' | 'followed';

/** Median and quartiles of a quantity (type 7 of Hyndman and Fan 1996), with the extremes. */
export interface ParticipantQuartiles {
  /**
   * Age at the end of active treatment in years; gain of treatment in the unit of the measure; years from that end to
   * the latest follow-up visit of any kind, 0 for whoever was never seen again.
   */
  readonly quantity: ParticipantQuantity;
  /** Patients of whom it is known; of nobody there is no row. */
  readonly patients: number;
  readonly notKnown: number;
  readonly median: number;
  readonly lowerQuartile: number;
  readonly upperQuartile: number;
  readonly smallest: number;
  readonly largest: number;
}

/** Who the treated patients are that an answer is about: those asked about who consent to follow-up. */
export interface Participants {
  readonly patients: number;
  readonly counts: readonly ParticipantCounts[];
  readonly quartiles: readonly ParticipantQuartiles[];
  /** Patients out of active treatment who were never seen again. */
  readonly neverSeen: number;
  /** The median gain of those in the risk set, which divides smaller from larger gains; null for nobody. */
  readonly dividingGain: number | null;
}

/**
 * Describes the participants of an answer. Follow-up is told as plain quartiles of the time of the latest visit, not by
 * the reverse Kaplan-Meier convention: they say what was seen, not what could have been without losses.
 */
export function participantsOf({ patients, rows }: Pick<OutcomeAnswer, 'patients' | 'rows'>): Participants {
  const inRiskSet = patients.filter(({ loss }) => loss !== null);
  const followed = rows.followed.map(({ horizon, lastSeen, ageAtEnd }) =>
    horizon === null && lastSeen === null && ageAtEnd === null ? null : (lastSeen ?? 0),
  );
  return {
    patients: patients.length,
    counts: GROUPINGS.flatMap((grouping) => (grouping === 'gain' ? [] : [countsOf(patients, grouping)])),
    quartiles: [
      ...quartilesOf(
        'age-at-end',
        rows.followed.map(({ ageAtEnd }) => ageAtEnd),
      ),
      ...quartilesOf(
        'gain',
        patients.map(({ gain }) => gain?.estimate ?? null),
      ),
      ...quartilesOf('followed', followed),
    ],
    neverSeen: followed.filter((years) => years === 0).length,
    dividingGain: inRiskSet.length === 0 ? null : medianGain(inRiskSet),
  };
}

function countsOf(
  patients: readonly PatientOutcome[],
  characteristic: ParticipantCounts['characteristic'],
): ParticipantCounts {
  const labels = patients.map((one) => groupLabel(one, characteristic, NaN));
  const known = [...new Set(labels)].flatMap((label) => label ?? []).sort(byOrder);
  return {
    characteristic,
    groups: known.map((label) => ({ label, patients: labels.filter((own) => own === label).length })),
    notRecorded: labels.filter((label) => label === null).length,
  };
}

const MATURITY_ORDER = Object.values(MATURITY_WORDS);

/** Stages of maturity in the order of growth, everything else by name. */
function byOrder(a: string, b: string): number {
  return MATURITY_ORDER.indexOf(a) - MATURITY_ORDER.indexOf(b) || (a < b ? -1 : 1);
}

function quartilesOf(
  quantity: ParticipantQuantity,
  values: readonly (number | null)[],
): ParticipantQuartiles[] {
  const known = values.flatMap((value) => value ?? []).sort((a, b) => a - b);
  if (known.length === 0) return [];
  return [
    {
      quantity,
      patients: known.length,
      notKnown: values.length - known.length,
      median: sortedQuantile(known, 0.5),
      lowerQuartile: sortedQuantile(known, 0.25),
      upperQuartile: sortedQuantile(known, 0.75),
      smallest: sortedQuantile(known, 0),
      largest: sortedQuantile(known, 1),
    },
  ];
}
