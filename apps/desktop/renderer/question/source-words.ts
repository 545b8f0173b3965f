import type { MethodErrorInForce } from '@longhold/core/agreement';
import { importedTableWords } from '@longhold/core/answers';
import type { ReferenceDescription } from '@longhold/core/growth';
import { formatLimits, formatNoun, formatNumber } from '@longhold/ui';

/** Which expected growth is used and what it rests on. */
export function referenceWords(reference: ReferenceDescription, unit: string): string {
  switch (reference.kind) {
    case 'not-needed':
      return 'None: this measure hardly changes with growth.';
    case 'none':
      return `Not known. ${reference.reason}`;
    case 'untreated-series': {
      const series = reference.series.map(
        ({ sex, children, measurements, ages }) =>
          `${sex}: ${formatNoun(children, 'child', 'children')}, ${formatNoun(measurements, 'measurement')}, ages ${formatLimits({ lower: ages[0], upper: ages[1] })}`,
      );
      return `The untreated series of this store (${series.join('; ')}). A curve by age for each sex; children’s own rates vary around it by ${formatNumber(reference.rateSd, 2)} ${unit} a year (standard deviation).`;
    }
    case 'imported-table':
      return importedTableWords(reference, `${formatNumber(reference.rateSd, 2)} ${unit}`);
    case 'built-in-table': {
      const ages = reference.series.map(
        ({ sex, ages: [from, to] }) =>
          `${sex}, ages ${formatLimits({ lower: from, upper: to }, (age) => formatNumber(age, 0))}`,
      );
      return `A built-in table (${ages.join('; ')}). ${reference.provenance.text} (${reference.provenance.kind}.)`;
    }
  }
}

/** The method error in force in a few words. */
export function methodErrorBrief({ sd, source, films }: MethodErrorInForce, unit: string): string {
  const origin = source === 'duplicates' ? 'from own duplicates' : 'a default';
  return `${formatNumber(sd, 2)} ${unit}, ${origin}${FILMS_BRIEF[films.source]}`;
}

const FILMS_BRIEF: Readonly<Record<MethodErrorInForce['films']['source'], string>> = {
  'second-films': ' and second films',
  default: ', between films a default',
  'not-known': ', without error between films',
  'no-film': '',
};

/** The expected growth in force in a few words; null where none is needed. */
export function referenceBrief(reference: ReferenceDescription): string | null {
  switch (reference.kind) {
    case 'not-needed':
      return null;
    case 'none':
      return 'not known';
    case 'untreated-series': {
      const children = reference.series.reduce((sum, one) => sum + one.children, 0);
      return `own untreated series (${formatNoun(children, 'child', 'children')})`;
    }
    case 'imported-table':
      return `imported table ${reference.name}`;
    case 'built-in-table':
      return 'built-in table';
  }
}
