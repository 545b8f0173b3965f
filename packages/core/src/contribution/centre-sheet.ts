import { methodErrorInForce } from '../agreement';
import { findMeasure } from '../measures/catalogue';
import type { Study } from '../records';
import type { NotContributed, NotContributedReason } from './deidentify';
import type { CentreSheet, ContributionFlow, PooledMethodError } from './pooled-record';
import type { StudyDefinition } from './study-definition';

/**
 * What a clinic says of itself as a whole.
 *
 * @param contributed the histories behind the contributed records, with the clinic's film factor: method errors come
 *   from these patients' readings only, so that nobody without consent has a part in what leaves
 */
export function centreSheet(
  contributed: Study,
  leftOut: readonly NotContributed[],
  definition: StudyDefinition,
): CentreSheet {
  return {
    methodErrors: definition.measures.flatMap((measure) => methodErrorOf(contributed, measure) ?? []),
    flow: flowOf(
      contributed.filter(({ patient }) => patient.group === 'treated').length,
      leftOut.filter(({ group }) => group === 'treated').map(({ reason }) => reason),
      definition.smallestCell,
    ),
  };
}

/** Both parts of the error as the clinic itself uses them. */
function methodErrorOf(study: Study, code: string): PooledMethodError | null {
  const measure = findMeasure(code);
  if (measure === undefined) return null;
  const { retracingSd, films, source, duplicates, degreesOfFreedom } = methodErrorInForce(study, measure);
  const filmSd = films.source === 'not-known' ? null : films.sd;
  const filmDf = degreesOfFreedom.whole;
  return { measure: code, retracingSd, filmSd, source, pairs: duplicates?.pairs ?? 0, filmDf };
}

function flowOf(
  contributed: number,
  reasons: readonly NotContributedReason[],
  smallestCell: number,
): ContributionFlow {
  const count = (...wanted: NotContributedReason[]): number =>
    reasons.filter((reason) => wanted.includes(reason)).length;
  const shown = (number: number): number | null => (number > 0 && number < smallestCell ? null : number);
  const parts = {
    withoutConsent: shown(count('no-pooling-consent', 'no-follow-up-consent')),
    withoutEnd: shown(count('no-end')),
    withoutStart: shown(count('no-start')),
    withoutAge: shown(count('no-age')),
    outsideLimits: shown(count('outside-limits')),
    tooFewAlike: shown(count('too-few-alike')),
  };
  const withheld = Object.values(parts).some((part) => part === null);
  return { treated: withheld ? null : contributed + reasons.length, contributed, ...parts };
}
