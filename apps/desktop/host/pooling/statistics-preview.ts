import { countText, patientsText } from '@longhold/core/answers';
import { contributionWords } from '@longhold/core/contribution';
import {
  statisticsRisk,
  statisticsWords,
  type CentreStatistics,
  type MeasureStatistics,
} from '@longhold/core/pooled';
import type { PoolingBook } from '../store';
import type {
  MeasureSummary,
  PatientInPool,
  StatisticsPreview,
  StatisticsRows,
  StatisticsTable,
} from './answers';
import type { CountedChanges, MadeStatistics, StatisticsObstacle } from './made-statistics';
import { leftOutPatients, withdrawnForGood } from './preview';
import { countedOf } from './who-is-in-pool';

/** What a person is shown before statistics leave. */
export function statisticsPreviewOf(made: MadeStatistics, book: PoolingBook): StatisticsPreview {
  const { digest, version, definition, contribution, counted, changes, codes, obstacle } = made;
  const { statistics } = counted;
  const { coarsened, leftOut } = contributionWords(contribution, definition);
  const listed = (pseudonyms: readonly string[], reasonOf: (pseudonym: string) => PatientInPool['reason']) =>
    pseudonyms.map((pseudonym): PatientInPool => {
      return { code: codes.get(pseudonym) ?? null, pseudonym, reason: reasonOf(pseudonym) };
    });
  const reasons = new Map(contribution.leftOut.map(({ pseudonym, reason }) => [pseudonym, reason]));
  const whyNot = (pseudonym: string): PatientInPool['reason'] => reasons.get(pseudonym) ?? 'not-in-store';
  const { replaces, isOthers, somethingToSend, withdraws } = made;
  const { fresh, changed, unchanged, gone } = changes;
  return {
    digest,
    definition: version,
    replaces,
    isOthers,
    withdrawn: withdraws.length,
    counts: { new: fresh, changed, unchanged, gone: gone.length },
    somethingToSend,
    obstacle: obstacle === null ? null : obstacleWords(obstacle),
    words: { ...statisticsWords(statistics, definition), coarsened, leftOut },
    changes: changesWords(changes, withdraws.length, wasTakenOut(book)),
    risk: statisticsRisk(statistics, definition.smallestCell),
    statistics: { ...statistics, measures: statistics.measures.map(summaryOf) },
    leftOut: leftOutPatients(made, book),
    withdrawals: listed(withdraws, whyNot),
    notInThem: listed(gone, whyNot),
    withdrawnForGood: withdrawnForGood(made, book),
  };
}

/** Whether this desktop sent statistics that are not at the service any more, and did not take them out itself. */
function wasTakenOut(book: PoolingBook): boolean {
  const study = book.link.get('link')?.study;
  const own = [...book.sent.values()]
    .filter(({ study: where, statistics }) => where === study && statistics !== null)
    .sort((a, b) => (a.at < b.at ? 1 : -1));
  return countedOf(book) === null && (own[0]?.statistics?.digest ?? null) !== null;
}

function changesWords(
  { fresh, changed, gone }: CountedChanges,
  withdrawn: number,
  wasOut: boolean,
): string[] {
  const are = (count: number): string => (count === 1 ? 'is' : 'are');
  return [
    ...(wasOut
      ? ['The service holds no statistics of your clinic any more: another desktop took them out since.']
      : []),
    ...(fresh === 0 ? [] : [`${patientsText(fresh)} ${are(fresh)} counted for the first time.`]),
    ...(changed === 0
      ? []
      : [`${patientsText(changed)} ${are(changed)} counted anew, because something changed here.`]),
    ...(withdrawn === 0
      ? []
      : [
          `${patientsText(withdrawn)} ${are(withdrawn)} taken out because consent is gone or it was asked for; the service ` +
            'is told how many.',
        ]),
    ...(gone.length === 0
      ? []
      : [
          `${patientsText(gone.length)} of the last statistics ${are(gone.length)} not in these: not among your records, ` +
            'or not to be counted as recorded now.',
        ]),
  ];
}

/** What stands in the way of statistics, and what to do about it. */
export function obstacleWords(obstacle: StatisticsObstacle): string {
  switch (obstacle.kind) {
    case 'records-in-pool':
      return (
        `The service holds records of ${patientsText(obstacle.records)} of your clinic. It takes either records or ` +
        'statistics. Choose "statistics only" again to take the records out first.'
      );
    case 'too-few':
      return (
        `Only ${countText(obstacle.patients)} treated ${obstacle.patients === 1 ? 'patient' : 'patients'} can be counted. ` +
        `Sums of fewer than ${obstacle.smallestCell}, the smallest cell of the study, would say too much of each. Wait ` +
        'until there are more.'
      );
    case 'too-large':
      return (
        `The statistics take ${countText(obstacle.bytes / 1_000_000)} megabytes, and the service takes ` +
        `${countText(obstacle.limit / 1_000_000)} at once. Ask the study group for fewer measures.`
      );
  }
}

function summaryOf(measure: MeasureStatistics): MeasureSummary {
  const { losses, endings, separation, ...rest } = measure;
  const { patients, ...parts } = separation;
  return {
    ...rest,
    losses: losses.length,
    endings: endings.length,
    gains: patients.length,
    separation: parts,
  };
}

/** A page of one of the long tables. */
export function statisticsRows(
  { measures }: CentreStatistics,
  page: {
    readonly measure: string;
    readonly table: StatisticsTable;
    readonly offset: number;
    readonly limit: number;
  },
): StatisticsRows | null {
  const measure = measures.find((one) => one.measure === page.measure);
  if (measure === undefined) return null;
  const { columns, rows } = tableOf(measure, page.table);
  return { total: rows.length, columns, rows: rows.slice(page.offset, page.offset + page.limit) };
}

function tableOf(
  { losses, endings, separation }: MeasureStatistics,
  table: StatisticsTable,
): Pick<StatisticsRows, 'columns' | 'rows'> {
  switch (table) {
    case 'losses':
      return {
        columns: ['Group', 'Held until day', 'Lost by day', 'Patients'],
        rows: losses.map(({ group, left, right, patients }) => [group, left, right, patients]),
      };
    case 'endings':
      return {
        columns: ['Day', 'Follow-up ended', 'Patients'],
        rows: endings.map(({ day, ending, patients }) => [day, ENDING_WORDS[ending], patients]),
      };
    case 'gains':
      return {
        columns: ['Gains', 'R11', 'R12', 'R13', 'R22', 'R23', 'R33'],
        rows: separation.patients,
      };
  }
}

const ENDING_WORDS: Readonly<Record<MeasureStatistics['endings'][number]['ending'], string>> = {
  lost: 'gain lost',
  'treated-again': 'treated again',
  neither: 'neither',
};
