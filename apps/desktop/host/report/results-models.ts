import { diagnosisSchema, groupingSchema, lossRuleSchema } from '@longhold/core/answers';
import { z } from 'zod';
import { limitsSchema, ratioFields, restrictedMeanSchema, survivalAtYearSchema } from './results-parts';

/** The parts of results.json that hold models of the gain and comparisons. Every field says what it is. */

const crossingSchema = z.enum(['tips', 'always-above', 'always-below']);

const refusalSchema = z.strictObject({
  refused: z.string().describe('code of the reason why there is no answer'),
  message: z.string().describe('the reason in a sentence'),
});

export const testedSchema = z.strictObject({
  estimate: z.number().describe('estimate'),
  standardError: z
    .number()
    .describe('standard error, with the uncertainty of the growth curve; at the best tau'),
  df: z.number().nullable().describe("Satterthwaite's degrees of freedom; null: normal distribution"),
  p: z.number().nullable().describe('two-sided p value of being zero; null for the fading part'),
  limits: limitsSchema
    .nullable()
    .describe('confidence limits, those of the fading part over all taus left open; null: none can be given'),
});

const modelledGainSchema = z.strictObject({
  years: z.number().describe('years since the end of active treatment'),
  lasting: z.number().nullable().describe('lasting part of the mean gain; null: not fixed by the data'),
  passing: z.number().nullable().describe('what has not faded yet of the other part; null with it'),
  total: z.number().describe('both together'),
  limits: limitsSchema.describe('confidence limits of the total'),
  followed: z.number().describe('patients measured at that time or later'),
});

const twoPartFields = {
  lasting: testedSchema.describe('T: lasting gain, unit of the measure'),
  passing: testedSchema.describe(
    'S: years of growth brought forward; or P: fading gain, unit of the measure',
  ),
  passingAtEnd: z.number().describe('what the passing part is worth at the end of active treatment'),
  share: z
    .strictObject({
      gainAtEnd: z
        .strictObject({
          estimate: z.number().describe('A(0) of the model'),
          standardError: z.number().describe('its standard error'),
          withLasting: z.number().describe('its covariance with T'),
          limits: limitsSchema.describe('its confidence limits'),
        })
        .describe('mean gain at the end of active treatment as modelled'),
      ...ratioFields,
      df: z.number().nullable().describe('degrees of freedom of the set; null: normal distribution'),
    })
    .describe('lasting share T / A(0)'),
  correlation: z.number().describe('correlation of the estimates of T and S (or P)'),
  patientSd: z
    .strictObject({
      lasting: z.number().describe("SD of patients' own T"),
      passing: z.number().describe("SD of patients' own S (or P)"),
      correlation: z.number().nullable().describe('their correlation; null where an SD is zero'),
    })
    .describe('differences between patients'),
  residualSd: z.number().describe("SD of a gain around the patient's own course"),
  simplified: z.boolean().describe('whether the correlation between patients was left out of the model'),
  edges: z.array(z.string()).describe('what is at the edge of what is possible'),
  logLikelihood: z.number().describe('full log-likelihood'),
  aic: z.number().describe('Akaike criterion of the full likelihood'),
  course: z.array(modelledGainSchema).describe('the modelled mean gain over time'),
};

const withoutPatientSchema = z.strictObject({
  code: z.string().describe('the patient left out'),
  value: z.number().describe('the result without'),
});
export const rangeSchema = z.strictObject({
  lowest: withoutPatientSchema.describe('lowest result with one patient left out'),
  highest: withoutPatientSchema.describe('highest result with one patient left out'),
});

export const separationSchema = z.strictObject({
  patients: z.number().describe('patients in the models'),
  gains: z.number().describe('measured gains in the models'),
  followed: z.number().describe('patients measured after the end of active treatment'),
  longestYears: z.number().describe('longest follow-up, years'),
  growthClock: z
    .union([z.strictObject(twoPartFields), refusalSchema])
    .describe('A = (T + u) + (S + w) v(age) + e, or why it could not be fitted'),
  fadingPart: z
    .union([
      z.strictObject({
        ...twoPartFields,
        tau: z.number().describe('years in which the passing part falls to 37 %'),
        tauLower: z.number().nullable().describe('lower profile limit; null: not bounded'),
        tauUpper: z.number().nullable().describe('upper profile limit; null: not bounded'),
        tauAtEdge: z.enum(['shortest', 'longest']).nullable().describe('where the data do not fix tau'),
        tauBounded: z
          .boolean()
          .describe('whether the data rule out a part too slow to be told from what lasts'),
      }),
      refusalSchema,
    ])
    .describe('A = (T + u) + (P + w) exp(-t / tau) + e, or why it could not be fitted'),
  readFrom: z
    .enum(['growth-clock', 'fading-part'])
    .nullable()
    .describe('the model that the reading stands on'),
  diagnosis: diagnosisSchema.nullable().describe('the reading'),
  quietAges: z
    .array(
      z.strictObject({
        sex: z.enum(['female', 'male']).describe('sex'),
        age: z
          .number()
          .nullable()
          .describe('age from which growth has nearly ended; null: beyond the reference'),
        patients: z.number().describe('patients of that sex'),
        seenAfter: z.number().describe('of these, measured at that age or later'),
      }),
    )
    .describe('where lasting and brought-forward gain come apart'),
  influence: z
    .strictObject({
      lasting: rangeSchema.describe('of T'),
      share: rangeSchema.describe('of the lasting share'),
    })
    .nullable()
    .describe('how far single patients carry the result'),
});

const groupRatioSchema = z.strictObject({
  label: z.string().describe('group'),
  estimate: z.number().describe('ratio against the reference group'),
  limits: limitsSchema.describe('confidence limits'),
  p: z.number().describe('two-sided p value of the ratio being 1'),
  carriedSd: z
    .number()
    .nullable()
    .describe(
      "SD that the doubt about growth curve and method error adds to that of the ratio's logarithm, in limits and p; null where not known, and for Cox",
    ),
});

export const groupsSchema = z.strictObject({
  grouping: groupingSchema.describe('how patients are divided'),
  groups: z
    .array(
      z.strictObject({
        label: z.string().describe('group'),
        patients: z.number().describe('patients in the risk set'),
        losses: z.number().describe('of these, seen to lose the gain'),
        atYears: z.array(survivalAtYearSchema).describe('survival read off at whole years'),
        restrictedMean: restrictedMeanSchema
          .nullable()
          .describe('mean years with the gain, counted to the same year in every group'),
      }),
    )
    .describe('survival in each group'),
  meanDifferences: z
    .array(
      z.strictObject({
        label: z.string().describe('group'),
        estimate: z.number().describe('mean years less those of the reference group'),
        limits: limitsSchema.describe('limits from those of the two means'),
        undefinedWithin: limitsSchema.describe('how far undefined stretches of the two curves can move it'),
      }),
    )
    .describe('differences of restricted means from the reference group'),
  tooSmall: z
    .array(z.strictObject({ label: z.string().describe('group'), patients: z.number().describe('patients') }))
    .describe('groups too small to show'),
  reference: z.string().nullable().describe('the group that ratios compare with'),
  regressions: z
    .array(
      z.union([
        z.strictObject({
          distribution: z.enum(['weibull', 'log-logistic']).describe('distribution of the times'),
          timeRatios: z.array(groupRatioSchema).describe('ratios of times to loss'),
          hazardRatios: z
            .array(groupRatioSchema)
            .nullable()
            .describe('ratios of hazards; null where not proportional'),
          p: z.number().nullable().describe('all groups together, likelihood ratio'),
          aic: z.number().describe('Akaike criterion'),
        }),
        refusalSchema,
      ]),
    )
    .describe('regressions of interval-censored times'),
  cox: z
    .union([z.array(groupRatioSchema), refusalSchema])
    .describe('Cox regression of the conventional times'),
  resamples: z.number().describe("resamples behind each group's limits"),
  dividingGain: z.number().nullable().describe('gain that divides smaller from larger ones'),
  tests: z
    .array(
      z.strictObject({
        grouping: groupingSchema.describe('how patients are divided'),
        groups: z
          .array(
            z.strictObject({
              label: z.string().describe('group'),
              patients: z.number().describe('patients'),
              losses: z.number().describe('losses'),
            }),
          )
          .describe('the groups'),
        unknown: z.number().describe('patients whose group is not recorded'),
        test: z
          .strictObject({
            statistic: z.number().describe('chi-squared'),
            df: z.number().describe('degrees of freedom'),
            p: z.number().describe('p value'),
            asKnown: z
              .strictObject({
                statistic: z.number().describe('chi-squared'),
                p: z.number().describe('p value'),
                adjustedP: z.number().describe("p after Holm's correction"),
              })
              .describe('the same with growth curve and method error taken as they are'),
          })
          .nullable()
          .describe('log-rank test for interval-censored times; null where it cannot be made'),
        adjustedP: z.number().nullable().describe("p after Holm's correction"),
        why: z.string().nullable().describe('why there is no test'),
      }),
    )
    .describe('every grouping with its test'),
});

const probabilitySchema = z.strictObject({
  probability: z.number().nullable().describe('probability; null where nobody was followed so long'),
  standardError: z.number().nullable().describe('standard error'),
  lower: z.number().nullable().describe('lower confidence limit'),
  upper: z.number().nullable().describe('upper confidence limit'),
});
const grayTestSchema = z.union([
  z.strictObject({
    chiSquared: z.number().describe('chi-squared'),
    df: z.number().describe('degrees of freedom'),
    p: z.number().describe('p value'),
  }),
  refusalSchema,
]);

export const competingSchema = z.strictObject({
  patients: z.number().describe('patients in the risk set'),
  lost: z.number().describe('of these, found to have lost the gain'),
  treatedAgain: z.number().describe('of these, treated again before that'),
  points: z
    .array(
      z.strictObject({
        time: z.number().describe('years'),
        lost: z.number().describe('cumulative incidence of loss from then on'),
        treatedAgain: z.number().describe('cumulative incidence of a second treatment from then on'),
      }),
    )
    .describe('steps of both incidences'),
  atYears: z
    .array(
      z.strictObject({
        year: z.number().describe('year'),
        neither: probabilitySchema.describe('neither by then'),
        lost: probabilitySchema.describe('found lost by then'),
        treatedAgain: probabilitySchema.describe('treated again by then, before any loss'),
        atRisk: z.number().describe('followed to that time without either'),
      }),
    )
    .describe('incidences at customary years'),
  groupTests: z
    .strictObject({
      lost: grayTestSchema.describe("Gray's test of losses over the groups"),
      treatedAgain: grayTestSchema.describe("Gray's test of second treatments over the groups"),
    })
    .describe('comparison of the groups'),
});

const sideSchema = z.strictObject({
  n: z.number().describe('patients with the item recorded'),
  value: z.number().describe('mean, or share of patients'),
});

export const absenceSchema = z.strictObject({
  patients: z.number().describe('in the risk set, or with a gain that could have been followed'),
  stayedAway: z.number().describe('last seen more than a year and a half before the day of the question'),
  neverSeen: z
    .number()
    .describe('never seen after the end of active treatment, more than a year and a half ago'),
  bounds: z
    .array(
      z.strictObject({
        years: z.number().describe('years'),
        estimate: z.number().describe('survival as estimated'),
        worst: z.number().describe('if all who stayed away had lost the gain'),
        best: z.number().describe('if all who stayed away had kept it'),
      }),
    )
    .describe('survival and its bounds'),
  survivalTip: z
    .strictObject({
      year: z.number().describe('year'),
      limit: z.number().describe('survival that the conclusion stands or falls with'),
      crossing: crossingSchema.describe('whether survival crosses it as more of them are lost'),
      at: z.number().nullable().describe('share lost at which survival crosses it; null unless it tips'),
      lowerCrossing: crossingSchema.describe('the same for the lower limit'),
      lowerAt: z.number().nullable().describe('share lost at which the lower limit crosses it'),
      table: z
        .array(
          z.strictObject({
            lostShare: z.number().describe('share of those who stayed away taken to have lost the gain'),
            survival: z.number().describe('survival then'),
            lower: z.number().describe('its lower exact limit'),
          }),
        )
        .describe('survival by that share'),
    })
    .nullable()
    .describe('how bad the missing would have to be'),
  shareTip: z
    .strictObject({
      year: z.number().describe('year'),
      limit: z.number().describe('the threshold'),
      crossing: crossingSchema.describe('whether the whole crosses it as the unseen keep less'),
      at: z
        .number()
        .nullable()
        .describe('share kept by the unseen at which the whole crosses it; null unless it tips'),
      lowerCrossing: crossingSchema.describe('the same for the lower limit'),
      lowerAt: z.number().nullable().describe('share kept at which the lower limit crosses it'),
      table: z
        .array(
          z.strictObject({
            unseenShare: z.number().describe('share of their gain that the unseen are taken to have kept'),
            overall: z.number().describe('retained share of all then'),
            lower: z.number().nullable().describe("lower end of Fieller's set"),
          }),
        )
        .describe('retained share by that share'),
      seen: z.number().describe('patients measured in that year'),
      unseen: z.number().describe('patients who could have been but were not'),
      seenMean: z.number().describe('mean gain of the seen in that year'),
      unseenMeanAtLimit: z
        .number()
        .describe('mean gain of the unseen at which the whole is at the threshold'),
    })
    .nullable()
    .describe('the same for the retained share'),
  baseline: z
    .array(
      z.strictObject({
        name: z.string().describe('item'),
        kind: z.enum(['mean', 'share']).describe('mean of a number or share of patients'),
        unit: z.string().describe('unit of the number'),
        seen: sideSchema.describe('patients seen'),
        unseen: sideSchema.describe('patients not seen'),
        difference: z.number().describe('seen minus unseen'),
        limits: limitsSchema.describe('confidence limits of the difference'),
        standardised: z.number().nullable().describe('difference over the SD of both'),
      }),
    )
    .describe('seen and unseen compared'),
});

export const changesSchema = z.array(
  z.strictObject({
    from: z.number().describe('yearly window at the start; 0 is the end of active treatment'),
    to: z.number().describe('the window after it'),
    n: z.number().describe('patients seen in both'),
    mean: z.number().describe('mean change of the gain a year, unit of the measure'),
    sd: z.number().describe('SD between patients'),
    limits: limitsSchema.describe('confidence limits'),
  }),
);

export const byRuleSchema = z.array(
  z.strictObject({
    rule: lossRuleSchema.describe('loss rule'),
    losses: z.number().describe('losses under it'),
    atYears: z
      .array(survivalAtYearSchema)
      .describe('survival at customary years, with limits made as those of the curve'),
  }),
);
