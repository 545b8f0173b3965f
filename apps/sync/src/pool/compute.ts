import { pooledRecordSchema, studyDefinitionSchema } from '@longhold/core/contribution';
import { centreSheetSchema } from '@longhold/core/contribution';
import {
  allCentreEstimates,
  centreEstimatesSchema,
  centreStatistics,
  centreStatisticsSchema,
  impossibleStatistics,
  ownPart,
  pooledAnswer,
  poolView,
  type CentreInPool,
} from '@longhold/core/pooled';

/*
 * Everything about pooled answers that takes time, on texts as they are stored, so that it can be done in a thread of
 * its own.
 */

/** Version of the program, as it stands in statistics. */
const SOFTWARE = '0.1.0';

/** A version of the study definition; `body` is its JSON. */
export interface DefinitionText {
  readonly version: number;
  readonly body: string;
}

/** A centre's statistics and estimates as JSON. */
export interface CentreTexts {
  readonly statistics: string;
  readonly estimates: string;
}

/** The views of one pooled answer as JSON. */
export interface PoolTexts {
  readonly coordinator: string;
  readonly centre: string;
  readonly reader: string;
  readonly own: readonly { readonly centre: string; readonly part: string }[];
}

/** A centre's statistics from its records, and what they say of each quantity. */
export function centreTexts(
  records: readonly string[],
  sheet: string,
  definition: DefinitionText,
): CentreTexts {
  const parsed = studyDefinitionSchema.parse(JSON.parse(definition.body));
  const statistics = centreStatistics(
    records.map((record) => pooledRecordSchema.parse(JSON.parse(record))),
    {
      sheet: centreSheetSchema.parse(JSON.parse(sheet)),
      definition: parsed,
      definitionVersion: definition.version,
      software: SOFTWARE,
    },
  );
  return {
    statistics: JSON.stringify(statistics),
    estimates: JSON.stringify(allCentreEstimates(statistics, parsed)),
  };
}

/** Statistics that no records give are kept, as where an older version of the service had taken them. */
class ImpossibleStatistics extends Error {
  override readonly name = 'ImpossibleStatistics';
}

/**
 * What a centre's own statistics say of each quantity.
 *
 * @throws ImpossibleStatistics where no records under the definition give them
 */
export function estimatesText(statistics: string, definition: DefinitionText): string {
  const parsed = studyDefinitionSchema.parse(JSON.parse(definition.body));
  const sent = centreStatisticsSchema.parse(JSON.parse(statistics));
  if (impossibleStatistics(sent, parsed).length > 0) throw new ImpossibleStatistics();
  return JSON.stringify(allCentreEstimates(sent, parsed));
}

/** A centre as the pool takes it, from what is kept of it. */
export function readCentre(centre: string, { statistics, estimates }: CentreTexts): CentreInPool {
  return {
    centre,
    statistics: centreStatisticsSchema.parse(JSON.parse(statistics)),
    estimates: centreEstimatesSchema.parse(JSON.parse(estimates)),
  };
}

/** The pooled answer of all centres, as each kind of viewer may see it. */
export function poolTexts(centres: readonly CentreInPool[], definition: DefinitionText): PoolTexts {
  const parsed = studyDefinitionSchema.parse(JSON.parse(definition.body));
  const answer = pooledAnswer(centres, parsed, definition.version);
  return {
    coordinator: JSON.stringify(poolView(answer, 'coordinator', parsed)),
    centre: JSON.stringify(poolView(answer, 'centre', parsed)),
    reader: JSON.stringify(poolView(answer, 'reader', parsed)),
    own: centres.map(({ centre }) => ({ centre, part: JSON.stringify(ownPart(answer, centre)) })),
  };
}
