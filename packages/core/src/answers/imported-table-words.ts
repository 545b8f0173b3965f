import type { ReferenceDescription } from '../growth';
import { countText, numberText } from './number-text';

/** An imported growth table in force. */
type TableDescription = Extract<ReferenceDescription, { kind: 'imported-table' }>;

/**
 * What an imported growth table holds and how it is read, in a few sentences.
 *
 * @param rate the SD of children's own rates with its unit, as it is to be written: `1.00 mm`
 */
export function importedTableWords(table: TableDescription, rate: string): string {
  const { name, source, filmFactor, byStage, series, meansUncertaintyKnown, rateSdGiven } = table;
  const parts = series.map(({ sex, children, ages: [youngest, oldest] }) => {
    const counted = children === 0 ? '' : `, up to ${countText(children)} children a mean`;
    return `${sex}: ages ${numberText(youngest)} to ${numberText(oldest)}${counted}`;
  });
  const stages = byStage
    ? ' Its stages of maturity are placed about the usual age of peak growth; CS5 and CS6 have no place. How far off a place may be is in no interval.'
    : '';
  const factor =
    filmFactor === 1 ? '' : ` Its means are multiplied by ${numberText(filmFactor, 3)} to give natural size.`;
  const doubt = meansUncertaintyKnown
    ? 'The standard errors of its means, taken as independent of each other, are in the intervals.'
    : 'The uncertainty of its means is not known and in no interval.';
  return `The imported table ${name} (${source}; ${parts.join('; ')}), joined by straight lines.${stages}${factor} ${doubt} Children’s own rates are taken to differ with an SD of ${rate} a year, ${rateSdGiven ? 'as the table says' : 'assumed, no source: how far children differ in size does not tell it'}.`;
}
