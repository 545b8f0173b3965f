import type { OutcomeQuestion } from '@longhold/core/answers';
import { tableNames, type ImportedTable } from '@longhold/core/growth';
import type { IsoDate, Study } from '@longhold/core/records';
import { wrongUse } from './command-fault';

/**
 * Refuses a question that names a protocol or table that the store does not hold, or a day to come: its answer would
 * be about nobody, or about what is not known yet.
 *
 * @throws CommandFault that names what is there
 */
export function refuseAbsent(
  { filter, measure, table, asOf }: OutcomeQuestion,
  { study, tables }: { readonly study: Study; readonly tables: readonly ImportedTable[] },
  today: IsoDate,
): void {
  const protocols = new Set(
    study.flatMap(({ patient }) => (patient.group === 'treated' ? (patient.protocol ?? []) : [])),
  );
  if (filter.protocol !== null && !protocols.has(filter.protocol))
    throw wrongUse(
      `--protocol: no treated patient in the store has the protocol "${filter.protocol}". ${listed('protocol', [...protocols].sort())}`,
    );
  const names = tableNames(tables, measure);
  if (table !== null && !names.includes(table))
    throw wrongUse(
      `--table: the store holds no growth table "${table}" of ${measure}. ${listed('growth table of this measure', names)}`,
    );
  if (asOf !== null && asOf > today)
    throw wrongUse(`--as-of takes a day up to today (${today}), not ${asOf}, which is still to come.`);
}

function listed(what: string, names: readonly string[]): string {
  return names.length === 0 ? `There is no ${what}.` : `Present: ${names.join(', ')}.`;
}
