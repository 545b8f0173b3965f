import { outcomeQuestionSchema } from '@longhold/core/answers';
import { unitSchema } from '@longhold/core/measures';
import { isoDateSchema, patientCodeSchema, sexSchema } from '@longhold/core/records';
import { z } from 'zod';
import {
  gainRowsSchema,
  patientColumnsSchema,
  unsizedColumnsSchema,
  visitColumnsSchema,
} from './results-columns';
import { curveSchema } from './results-curve';
import {
  absenceSchema,
  byRuleSchema,
  changesSchema,
  competingSchema,
  groupsSchema,
  separationSchema,
} from './results-models';
import {
  curvePointSchema,
  groupGainSchema,
  leftOutReasonSchema,
  limitsSchema,
  ratioFields,
  restrictedMeanSchema,
  survivalAtYearSchema,
} from './results-parts';
import { gaveWaySchema } from './results-gave-way';
import { poolSchema } from './pool/results-pool';
import { participantsSchema } from './results-participants';
import { referencesSchema, sensitivitySchema } from './results-sensitivity';

const provenanceSchema = z.strictObject({
  kind: z
    .enum(['published', 'from memory', 'common practice, no source'])
    .describe('how far the figure can be relied on'),
  text: z.string().describe('where it comes from'),
});

const filmErrorSchema = z
  .strictObject({
    sd: z.number().describe('SD between films of one visit beyond retracing; 0 where not known'),
    source: z
      .enum(['second-films', 'default', 'not-known', 'no-film'])
      .describe(
        "the study's own second films, a published figure, left out because it is not known, or not read on films",
      ),
    visits: z.number().describe('visits with two films or more'),
    degreesOfFreedom: z.number().describe('films less visits, over these visits'),
    limits: limitsSchema
      .nullable()
      .describe('limits of the SD from these visits; null without them or without retracings'),
    provenance: provenanceSchema.nullable().describe('source of the default; null elsewhere'),
  })
  .describe('what two films of one visit differ by beyond retracing');

const definitionsSchema = z.strictObject({
  question: outcomeQuestionSchema.describe('the question with every default filled in'),
  measure: z
    .strictObject({
      code: z.string().describe('code of the measure'),
      name: z.string().describe('its name'),
      definition: z.string().describe('how it is measured'),
      unit: unitSchema.describe('unit of its values and of every gain'),
      direction: z.union([z.literal(1), z.literal(-1)]).describe('1: larger is favourable; -1: smaller is'),
      grows: z.boolean().describe('whether expected growth is subtracted'),
    })
    .describe('the measure asked about'),
  methodError: z
    .strictObject({
      sd: z.number().describe('SD of one film read once: retracing and films together'),
      retracingSd: z.number().describe('SD of retracing one film'),
      source: z
        .enum(['duplicates', 'default'])
        .describe("where retracingSd comes from: the study's own duplicates, or the catalogue's default"),
      pairs: z.number().describe('pairs of duplicate readings found'),
      limits: limitsSchema
        .nullable()
        .describe("limits of Dahlberg's error from these pairs; null without pairs"),
      provenance: provenanceSchema
        .nullable()
        .describe('source of the default; null where duplicates are used'),
      films: filmErrorSchema,
      smallestDetectableChange: z.number().describe('1.96 * sqrt(2) * sd'),
    })
    .describe('method error in force'),
  reference: z
    .strictObject({
      kind: z
        .enum(['not-needed', 'none', 'untreated-series', 'imported-table', 'built-in-table'])
        .describe('where expected growth comes from'),
      series: z
        .array(
          z.strictObject({
            sex: sexSchema.describe('sex'),
            children: z.number().describe('children behind the curve; 0 where not known'),
            measurements: z.number().describe('measurements behind the curve; 0 where not known'),
            youngest: z.number().describe('youngest age, years'),
            oldest: z.number().describe('oldest age, years'),
          }),
        )
        .describe('what the reference rests on; empty where none is used'),
      degreesOfFreedom: z.number().nullable().describe('spline degrees of freedom of the curve'),
      rateSd: z.number().nullable().describe('SD of individual growth rates, unit per year'),
      residualSd: z.number().nullable().describe("SD of a single value around the child's own line"),
      note: z.string().nullable().describe('why there is no reference, or the source of the table'),
      curve: curveSchema.nullable().describe('the curve in numbers; null where there is none'),
    })
    .describe('expected growth in force'),
  inWords: z
    .strictObject({
      threshold: z.string().describe('the threshold'),
      rule: z.string().describe('the loss rule'),
    })
    .describe('the same in words'),
});

const aboveYearSchema = z.strictObject({
  year: z.number().describe('whole years since the end of active treatment'),
  n: z.number().describe('patients with a usable visit in the window (year - 0.5, year + 0.5]'),
  measured: z.number().nullable().describe('share measured at or above the threshold; null when n = 0'),
  estimate: z
    .number()
    .nullable()
    .describe(
      'that share with measurement error taken out; null where error alone could make all the spread',
    ),
  limits: limitsSchema.nullable().describe('confidence limits of the estimate'),
});

const retainedYearSchema = z.strictObject({
  year: z.number().describe('year; its window reaches from half a year before to half a year after'),
  n: z.number().describe('patients with a usable visit in the window'),
  ...ratioFields,
  meanGainAtEnd: z.number().nullable().describe('mean gain of these patients at the end of active treatment'),
  meanGainNow: z.number().nullable().describe('mean gain of these patients in this year'),
  bootstrap: limitsSchema
    .nullable()
    .describe('limits of the share by resampling patients; null where too few'),
});

const carriedSchema = z
  .enum(['carried', 'not-known', 'none'])
  .describe('carried; left out because not known; or none to carry');

const survivalSchema = z.strictObject({
  patients: z.number().describe('patients in the risk set: measurable gain and at least one follow-up visit'),
  losses: z.number().describe('of these, seen to lose the gain'),
  treatedAgain: z.number().describe('of these, treated again'),
  falseLossesExpected: z
    .number()
    .describe('losses that measurement error alone would show had nobody lost anything'),
  intervalCensored: z
    .strictObject({
      atYears: z.array(survivalAtYearSchema).describe('survival read off at whole years'),
      curve: z.array(curvePointSchema).describe('the curve at the ends of its intervals'),
      intervals: z
        .array(
          z.strictObject({
            left: z.number().describe('start, years'),
            right: z.number().nullable().describe('end, years; null: not lost while followed'),
            mass: z.number().describe('share of losses in the interval'),
          }),
        )
        .describe('innermost intervals; within one the curve is not defined'),
      converged: z.boolean().describe('whether the maximum of the likelihood was reached'),
      iterations: z.number().describe('rounds it took'),
      optimalityGap: z.number().describe('how far from a proven maximum, per patient'),
      logLikelihood: z.number().describe('log-likelihood'),
      resamples: z.number().describe('bootstrap resamples behind the limits'),
      restrictedMean: restrictedMeanSchema
        .nullable()
        .describe('restricted mean; null where ten are not followed for a year'),
    })
    .describe("Turnbull's estimate"),
  carried: z
    .strictObject({
      growthReference: carriedSchema.describe('of the growth reference'),
      methodError: carriedSchema.describe('of the method error'),
    })
    .describe(
      'which uncertainties are in the limits besides chance; the conventional curve and Cox have neither',
    ),
  byRule: byRuleSchema.describe('the same patients under each loss rule'),
  kaplanMeier: z
    .strictObject({
      atYears: z.array(survivalAtYearSchema).describe('survival read off at whole years'),
      curve: z.array(curvePointSchema).describe('the curve after each step'),
    })
    .describe('the conventional estimate, which takes the visit that found a loss for its time'),
});

const flowYearSchema = z.strictObject({
  year: z.number().describe('year since the end of active treatment'),
  eligible: z.number().describe('treated patients whose window of that year has closed'),
  seen: z.number().describe('of these, seen in the window'),
  measured: z.number().describe('of these, with a usable value of the measure'),
  seenNotMeasured: z.number().describe('seen, but without a usable value'),
  seenFactorUnknown: z.number().describe('of these, because the factor of their films is not known'),
  notSeen: z
    .strictObject({
      withdrew: z.number().describe('withdrew'),
      moved: z.number().describe('moved away'),
      declined: z.number().describe('declined the recall'),
      'treated-again': z.number().describe('treated again'),
      'no-consent': z.number().describe('no consent for follow-up'),
      'not-known': z.number().describe('reason not recorded'),
    })
    .describe('eligible but not seen, by reason'),
});

/** The whole of results.json. A change that an existing reader would trip over raises `format`. */
export const resultsSchema = z.strictObject({
  format: z.literal(5).describe('version of this format'),
  software: z
    .strictObject({
      name: z.literal('Longhold').describe('program'),
      version: z.string().describe('its version'),
    })
    .describe('what computed the numbers'),
  source: z
    .strictObject({
      store: z.string().describe('name of the store'),
      invented: z.boolean().describe('true for the demo: nothing in it is real'),
      fingerprint: z
        .string()
        .regex(/^sha256:[0-9a-f]{64}$/)
        .describe('SHA-256 of the records as they were read'),
      treated: z.number().describe('treated patients who pass the filter'),
      untreated: z.number().describe('untreated patients in the store'),
    })
    .describe('which records were read'),
  asOf: isoDateSchema.nullable().describe('day up to which the records are read'),
  definitions: definitionsSchema.describe('what was asked and by what means it was answered'),
  sentences: z
    .strictObject({
      retention: z.string().describe('how much of the gain is kept'),
      survival: z.string().describe('how long it stays'),
      separation: z.string().describe('lasting or brought forward'),
      groups: z.string().describe('differences between groups'),
      gaveWay: z.string().describe('jaw or teeth'),
      absence: z.string().describe('what those who stayed away could change'),
      sensitivity: z.string().describe('how far the results hold under other choices'),
      references: z.string().describe('how far the answer hangs on the growth reference'),
      missing: z.string().describe('who is missing'),
      pool: z.string().describe('what a pool of clinics says, or why there is none'),
    })
    .describe('the answers in words'),
  participants: participantsSchema.describe('who the treated patients are'),
  gain: groupGainSchema.nullable().describe('gain of active treatment; null with fewer than two patients'),
  retained: z.array(retainedYearSchema).describe('retained share by year'),
  changes: changesSchema.describe('change of the gain a year on matched intervals'),
  above: z
    .array(aboveYearSchema)
    .describe('share of those seen who stand above the threshold, by year, under no loss rule'),
  survival: survivalSchema.nullable().describe('survival of the gain; null where nobody is in the risk set'),
  groups: groupsSchema.nullable().describe('survival by groups; null where nobody is in the risk set'),
  competing: competingSchema.nullable().describe('loss and second treatment as competing events'),
  separation: separationSchema.describe('lasting gain and growth brought forward'),
  gains: gainRowsSchema.describe('the measured gains behind `separation`, one entry each'),
  gaveWay: gaveWaySchema.describe('jaw or teeth: the parts of corrections'),
  absence: absenceSchema.describe('those who did not come back'),
  sensitivity: sensitivitySchema.describe('the same question with one thing changed at a time'),
  references: referencesSchema.describe('the same question under every growth reference'),
  pool: poolSchema.describe('what a pool of clinics says of the same measure'),
  statusCounts: z
    .strictObject({
      held: z.number().describe('held'),
      lost: z.number().describe('lost'),
      'cannot-tell': z.number().describe("can't tell"),
      'not-measurable': z.number().describe('not measurable'),
      'no-follow-up': z.number().describe('no follow-up'),
      'treated-again': z.number().describe('treated again'),
    })
    .describe('treated patients by status at their latest visit'),
  flow: z.array(flowYearSchema).describe('who was seen in each year'),
  leftOut: z
    .array(
      z.strictObject({
        reason: leftOutReasonSchema.describe('reason'),
        codes: z.array(patientCodeSchema).describe('patients'),
      }),
    )
    .describe('treated patients who are not in the risk set'),
  warnings: z
    .array(z.strictObject({ code: z.string().describe('code'), detail: z.string().describe('sentence') }))
    .describe('what to bear in mind'),
  patients: patientColumnsSchema.describe('every treated patient, one entry each'),
  visits: visitColumnsSchema.describe(
    'visits with the measure, in order of patient and age; calendar dates are left out on purpose',
  ),
  unsized: unsizedColumnsSchema.describe(
    'visits whose value is not used because the factor of their films is not known',
  ),
});
export type Results = z.infer<typeof resultsSchema>;
