import type { LossRule } from '@longhold/core/survival';
import type { GrowthClockChoice, ReferenceChoice } from '@longhold/core/answers';
import type { RecallState } from '@longhold/core/recall';
import type { EventKind, Sex, VisitKind } from '@longhold/core/records';

export { measureTitle } from '@longhold/core/measures';

/** The words that stand on screen for the closed lists of the records. */
export const RECALL_WORDS: Readonly<Record<RecallState, string>> = {
  overdue: 'Overdue',
  due: 'Due',
  lost: 'Lost to follow-up',
  upcoming: 'Not yet due',
  complete: 'Complete',
  stopped: 'Stopped',
};

export const EVENT_WORDS: Readonly<Record<EventKind, string>> = {
  moved: 'Moved away',
  withdrew: 'Withdrew from follow-up',
  declined: 'Declined further recalls',
  treated_again: 'Treated again',
};

export const VISIT_WORDS: Readonly<Record<VisitKind, string>> = {
  start: 'Start of treatment',
  end_of_active: 'End of active treatment',
  follow_up: 'Follow-up',
};

export const SEX_WORDS: Readonly<Record<Sex, string>> = { female: 'Female', male: 'Male' };

/** The loss rules as choices; the sentence of each stands in the answers' own words. */
export const RULE_CHOICES: Readonly<Record<LossRule, string>> = {
  'beyond-error': 'Below, beyond error',
  confirmed: 'Below, then confirmed',
  'any-visit': 'Below at any visit',
};

export const REFERENCE_CHOICES: Readonly<Record<ReferenceChoice, string>> = {
  auto: 'Untreated series, else table',
  'untreated-series': 'Untreated series only',
  'imported-table': 'Imported table',
  'built-in-table': 'Built-in table',
};

/** The clocks by which expected growth is read. */
export const CLOCK_CHOICES: Readonly<Record<GrowthClockChoice, string>> = {
  age: 'Age',
  maturity: 'Stage of maturity at the start',
};

/** Whether an upper expansion was part of treatment; null when not recorded. */
export function expansionWord(expansion: boolean | null): string {
  if (expansion === null) return 'Not recorded';
  return expansion ? 'Yes' : 'No';
}
