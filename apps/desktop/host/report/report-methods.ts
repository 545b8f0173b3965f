import {
  dividingGainText,
  filmErrorLeftOut,
  GROUPING_DEFINITIONS,
  GROUPING_WORDS,
  GROUPINGS,
  importedTableWords,
  MATURITY_WORDS,
  measureText,
  methodErrorWords,
  numberText,
  participantsOf,
  percentText,
  type OutcomeAnswer,
} from '@longhold/core/answers';
import { html, type Html } from './html';
import type { Results } from './results-schema';

/** Definitions in force and how each number was computed, with sources. */
export function methodsSection(answer: OutcomeAnswer, results: Results): Html {
  const { measure, question } = answer;
  const { inWords } = results.definitions;
  return html`<section id="definitions">
    <h2>Definitions and how it was computed</h2>
    <dl>
      <dt>Measure</dt>
      <dd>
        ${measure.name} (${measure.code}), ${measure.unit === 'deg' ? 'degrees' : 'mm'}: ${measure.definition}
        A ${measure.direction === 1 ? 'larger' : 'smaller'} value is the favourable direction.
      </dd>
      <dt>Adjusted gain</dt>
      <dd>
        Change since the start of treatment minus the growth expected over the same time, counted positive in
        the favourable direction: A(t) = d [ y(t) − y(start) − (g(age now) − g(age at start)) ]. A(0) is the
        gain at the end of active treatment; time is counted from there.
      </dd>
      <dt>Expected growth</dt>
      <dd>${referenceText(answer)}</dd>
      <dt>Method error</dt>
      <dd>${methodErrorText(answer)}</dd>
      <dt>Retained share</dt>
      <dd>
        A(t) / A(0). For the group the ratio of the mean gains of the same patients, never the mean of ratios;
        limits by Fieller (1954). The start value is common to both gains and its error is counted as such.
      </dd>
      <dt>Threshold and rule</dt>
      <dd>A gain is kept while there is ${inWords.threshold}. ${inWords.rule}</dd>
      <dt>Status of a patient</dt>
      <dd>
        The margin above the threshold with its one-sided ${percentText(question.level)} limit, from
        measurement error and the child's own growth together. Held: the lower limit is above zero. Lost: the
        upper limit is below zero. Otherwise it can't be told, and the larger of the two doubts is named.
      </dd>
      <dt>Survival of the gain</dt>
      <dd>
        Non-parametric maximum likelihood for interval-censored times (Turnbull 1976), limits by resampling
        patients (Efron and Tibshirani 1993; exact binomial ones for the number of patients that would know as
        much, Korn and Graubard 1998; seed ${question.seed}). Beside it the usual estimate of Kaplan and Meier
        (1958), which takes the visit that found a loss for the time of the loss and so tends to put it too
        late. Who never came back is not in the curve but in the flow.
      </dd>
      <dt>Groups</dt>
      <dd>${groupsText(answer)}</dd>
      <dt>Which patients</dt>
      <dd>${filterText(answer)}</dd>
    </dl>
  </section>`;
}

/** How patients are divided into groups, every way of which is tested. */
function groupsText(answer: OutcomeAnswer): Html[] {
  const { dividingGain } = participantsOf(answer);
  return GROUPINGS.map((grouping) => {
    const where =
      grouping !== 'gain' || dividingGain === null
        ? ''
        : ` ${dividingGainText(dividingGain, answer.measure.unit)}`;
    return html`${GROUPING_WORDS[grouping]}: ${GROUPING_DEFINITIONS[grouping]}${where} `;
  });
}

/** Whom the question asks about, in words. */
export function filterText({ question, treated }: OutcomeAnswer): string {
  const { protocol, sex, expansion, maturity } = question.filter;
  const conditions = [
    protocol === null ? [] : [`protocol ${protocol}`],
    sex === null ? [] : [sex],
    expansion === null ? [] : [expansion ? 'with expansion' : 'without expansion'],
    maturity === null ? [] : [`maturity at the start: ${MATURITY_WORDS[maturity]}`],
  ].flat();
  const which =
    conditions.length === 0 ? 'All treated patients' : `Treated patients: ${conditions.join(', ')}`;
  return `${which} (${treated}).`;
}

function referenceText({ reference, measure, untreated, question }: OutcomeAnswer): string {
  switch (reference.kind) {
    case 'not-needed':
      return `${measure.name} does not change enough with age to be adjusted for; g = 0.`;
    case 'none':
      return `Not known. ${reference.reason}`;
    case 'imported-table':
      return importedTableWords(reference, measureText(reference.rateSd, measure.unit, 2));
    case 'built-in-table':
      return `The built-in table. ${reference.provenance.text} (${reference.provenance.kind})`;
    case 'untreated-series': {
      const series = reference.series.map(
        ({ sex, children, measurements, ages: [youngest, oldest] }) =>
          `${sex}: ${children} children, ${measurements} values, ages ${numberText(youngest)} to ${numberText(oldest)}`,
      );
      const { unit } = measure;
      return `A curve by ${question.growthClock === 'age' ? 'age' : 'age, read at the place where the stage of maturity at the start puts each child,'} and sex (natural spline with ${reference.degreesOfFreedom} degrees of freedom, each child with a level and a rate of its own; mixed model, Laird and Ware 1982) from the untreated series of the same records (${untreated} children; ${series.join('; ')}). Children's own rates differ with an SD of ${measureText(reference.rateSd, unit, 2)} a year; single values scatter around a child's own line with an SD of ${measureText(reference.residualSd, unit, 2)}.`;
    }
  }
}

function methodErrorText({ methodError, measure, question, reference }: OutcomeAnswer): string {
  const factor =
    question.errorFactor === 1
      ? ''
      : ` Here it is multiplied by ${question.errorFactor}, to see how much hangs on it; the limits are those of the error itself.`;
  const { whole, retracing, films } = methodErrorWords(methodError, measure.unit);
  const leftOut =
    methodError.films.source === 'not-known' ? ` It is left out, ${filmErrorLeftOut(reference)}.` : '';
  const detectable = measureText(methodError.smallestDetectableChange, measure.unit, 2);
  return `${whole} ${retracing} ${films}${leftOut}${factor} Smallest detectable change of one patient: ${detectable}.`;
}
