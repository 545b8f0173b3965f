import { z } from 'zod';
import { isRefusal, type Refusal } from '../numeric';
import { fitCox, type CoxFit, type CoxRefusal } from '../survival';
import { asDesignTerms, designTerms } from './design-terms';

const labels = z.array(z.union([z.string(), z.number()]));

/** The keys that every method on a Cox regression shares. */
export const coxInput = {
  time: z.array(z.number()).describe('End of observation of each row, 0 or more, in any unit of time'),
  event: z
    .array(z.union([z.literal(0), z.literal(1)]))
    .describe('1 where the event happened at `time`, 0 where the row was censored there'),
  entry: z
    .array(z.number())
    .optional()
    .describe(
      'Start of observation of each row (late entry, left truncation), below `time`; default: from the start',
    ),
  weights: z
    .array(z.number())
    .optional()
    .describe(
      'Case weights above 0; whole numbers stand for repeated rows (exactly so with ties breslow). Default: 1 each',
    ),
  strata: labels
    .optional()
    .describe('Stratum of each row; each has a baseline hazard of its own. Default: one stratum'),
  clusters: labels
    .optional()
    .describe('Rows with the same label may depend on each other; gives cluster-robust standard errors'),
  covariates: designTerms,
  ties: z
    .enum(['efron', 'breslow'])
    .optional()
    .describe('How events at the same time are dealt with; default efron, the better approximation'),
  level: z.number().gt(0).lt(1).optional().describe('Confidence level of the intervals; default 0.95'),
  robust: z
    .boolean()
    .optional()
    .describe('Sandwich standard errors; default: with clusters, or weights that are not all whole numbers'),
  fewClusters: z
    .boolean()
    .optional()
    .describe("With robust standard errors: the factor G / (G - 1) and Student's t on G - 1; default false"),
};

type CoxInput = z.output<z.ZodObject<typeof coxInput>>;

/** The regression that all of them start with. */
export function fitted(input: CoxInput): CoxFit | CoxRefusal {
  const { entry, weights, strata, clusters, ties, level, robust, fewClusters } = input;
  return fitCox(
    {
      time: input.time,
      event: input.event,
      covariates: asDesignTerms(input.covariates),
      ...(entry && { entry }),
      ...(weights && { weights }),
      ...(strata && { strata }),
      ...(clusters && { clusters }),
    },
    {
      ...(ties && { ties }),
      ...(level !== undefined && { level }),
      ...(robust !== undefined && { robust }),
      ...(fewClusters !== undefined && { fewClusters }),
    },
  );
}

/** What is made of a fit where there is one. */
export function withFit<Answer extends object>(
  input: CoxInput,
  next: (fit: CoxFit) => Answer | Refusal,
): Answer | Refusal {
  const fit = fitted(input);
  return isRefusal(fit) ? fit : next(fit);
}

/** Ovarian cancer: days to death or last seen, age in years, treatment arm; Edmonson and others 1979. */
export const OVARIAN = {
  time: [
    59, 115, 156, 421, 431, 448, 464, 475, 477, 563, 638, 744, 769, 770, 803, 855, 1040, 1106, 1129, 1206,
    1227, 268, 329, 353, 365, 377,
  ],
  event: [1, 1, 1, 0, 1, 0, 1, 1, 0, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 0] satisfies (0 | 1)[],
  covariates: [
    {
      name: 'age',
      numbers: [
        72.3315, 74.4932, 66.4658, 53.3644, 50.3397, 56.4301, 56.937, 59.8548, 64.1753, 55.1781, 56.7562,
        50.1096, 59.6301, 57.0521, 39.2712, 43.1233, 38.8932, 44.6, 53.9068, 44.2055, 59.589, 74.5041, 43.137,
        63.2192, 64.4247, 58.3096,
      ],
    },
    {
      name: 'arm',
      labels: [1, 1, 1, 2, 1, 1, 2, 2, 1, 2, 1, 2, 2, 2, 1, 1, 1, 1, 2, 2, 2, 1, 1, 2, 2, 2].map((arm) =>
        arm === 1 ? 'cyclophosphamide' : 'with adriamycin',
      ),
    },
  ],
};

export const ABOUT_OVARIAN =
  'Ovarian cancer, 26 women: days to death or last seen, age in years, treatment arm. Edmonson JH and others. Cancer ' +
  'Treatment Reports 1979;63:241-247, as in the survival package for R.';
