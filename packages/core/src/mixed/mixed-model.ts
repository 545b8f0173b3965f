import { isRefusal, refuse, inverseOfUpper, norm, orthonormalColumns, takeOff } from '../numeric';
import { crossProducts, type CrossProducts } from './cross-products';
import { gatherGroups, type GroupOrder } from './group-order';
import {
  checkMixedData,
  residualWeights,
  type MixedData,
  type MixedRefusal,
  type NamedColumn,
  type RandomStructure,
  type RandomTerm,
  type ResidualWeights,
} from './model-data';
import { columnsFromRandom } from './paired-elimination';
import { freePlaces } from './relative-factor';

/** The basis in which the random effects of one term are reckoned: v = transform u, row-major size x size. */
export interface TermBasis {
  readonly factor: string;
  readonly names: readonly string[];
  readonly size: number;
  readonly structure: RandomStructure;
  readonly transform: Float64Array;
  /** Inverse of `transform`. */
  readonly back: Float64Array;
}

/**
 * Data and model made ready: columns on orthonormal bases, cross-products summed. The likelihood is the same in
 * every basis; this one keeps its digits where covariates lie far from zero.
 */
export interface MixedModel {
  readonly data: MixedData;
  readonly order: GroupOrder;
  readonly residual: ResidualWeights;
  readonly fixedNames: readonly string[];
  /** Fixed columns = Q triangle, and the inverse of the triangle; row-major p x p, upper. */
  readonly triangle: Float64Array;
  readonly inverseTriangle: Float64Array;
  /** Least-squares coefficients on Q. The products hold the residuals of that fit as the response. */
  readonly leastSquares: Float64Array;
  readonly random: TermBasis;
  /** Null where nothing is nested. */
  readonly outer: TermBasis | null;
  readonly products: CrossProducts;
  /** Sum of log(weights); 0 without weights. */
  readonly logWeights: number;
}

/**
 * Checks data and model and makes them ready to be fitted; cost linear in the number of responses.
 *
 * @returns a refusal that names the column, entry or count that is wrong
 */
export function prepareMixedModel(data: MixedData): MixedModel | MixedRefusal {
  const wrong = checkMixedData(data);
  if (wrong !== null) return wrong;
  const residual = residualWeights(data.residual);
  const order = gatherGroups(data.random.labels, data.outer?.labels ?? null);
  const fault = checkCounts(data, order, residual);
  if (fault !== null) return fault;
  const roots = residual.weights?.map(Math.sqrt) ?? null;

  const fixed = orthonormalColumns(weighted(data.fixed, roots));
  if (typeof fixed === 'number') return redundant('fixed effects', data.fixed[fixed]?.name ?? '');
  const response = weightedColumn(data.response, roots);
  const size = norm(response);
  const leastSquares = takeOff(fixed.columns, response);
  if (!(norm(response) > NO_VARIATION * size)) return noVariation();

  const random = termBasis(data.random, roots);
  if (isRefusal(random)) return random;
  const outer = data.outer === undefined ? null : termBasis(data.outer, roots);
  if (isRefusal(outer)) return outer;
  const inverseTriangle = inverseOfUpper(fixed.triangle, data.fixed.length);
  return {
    data,
    order,
    residual,
    fixedNames: data.fixed.map((column) => column.name),
    triangle: fixed.triangle,
    inverseTriangle,
    leastSquares,
    random: random.basis,
    outer: outer?.basis ?? null,
    products: crossProducts(
      order,
      random.columns,
      outer?.columns ?? [],
      fixed.columns,
      response,
      columnsFromRandom(data, random.basis, outer?.basis ?? null, inverseTriangle),
    ),
    logWeights: residual.weights?.reduce((sum, weight) => sum + Math.log(weight), 0) ?? 0,
  };
}

/** Residuals smaller than this share of the response are rounding. */
const NO_VARIATION = 1e-12;

/** The refusal of responses that fixed and random effects reproduce to the last digit. */
export function noVariation(): MixedRefusal {
  return refuse(
    'no-residual-variation',
    'The model reproduces the responses to the last digit; nothing is left that a variance could be estimated from.',
  );
}

function redundant(where: string, name: string): MixedRefusal {
  return refuse(
    'redundant-columns',
    `Among the ${where}, column ${name} is zero or follows from the columns before it; leave it out.`,
  );
}

function checkCounts(data: MixedData, order: GroupOrder, residual: ResidualWeights): MixedRefusal | null {
  const responses = data.response.length;
  const groups = order.groupLabels.length;
  const { factor } = data.random;
  if (groups < 2) {
    return refuse(
      'too-few-groups',
      `There is one ${factor} only; a variance between groups needs two or more.`,
    );
  }
  if (data.outer !== undefined) {
    const outers = order.outerLabels.length;
    if (outers < 2) {
      return refuse(
        'too-few-groups',
        `There is one ${data.outer.factor} only; a variance between groups needs two or more.`,
      );
    }
    if (outers === groups) {
      return refuse(
        'too-few-groups',
        `Every ${data.outer.factor} has one ${factor} only; their variances can't be told apart.`,
      );
    }
  }
  if (residual.knownSd === null && groups === responses) {
    return refuse(
      'no-repeats',
      `Every ${factor} has one response only; give groups with two or more, or a known residual standard deviation.`,
    );
  }
  const outerEntries = data.outer === undefined ? 0 : entriesOf(data.outer);
  const parameters =
    data.fixed.length + entriesOf(data.random) + outerEntries + (residual.knownSd === null ? 1 : 0);
  if (responses <= parameters) {
    return refuse(
      'too-few-responses',
      `There are ${responses} responses for ${parameters} parameters (fixed effects, variances and covariances); there must be more.`,
    );
  }
  return null;
}

/** Variances and covariances of a term. */
function entriesOf({ columns, structure = 'full' }: RandomTerm): number {
  return freePlaces(columns.length, structure).length;
}

function termBasis(
  term: RandomTerm,
  roots: Float64Array | null,
): { readonly basis: TermBasis; readonly columns: readonly Float64Array[] } | MixedRefusal {
  const given = weighted(term.columns, roots);
  const orthonormal = orthonormalColumns(given);
  if (typeof orthonormal === 'number') {
    return redundant(`random effects of ${term.factor}`, term.columns[orthonormal]?.name ?? '');
  }
  const structure = term.structure ?? 'full';
  const size = given.length;
  const scale = Math.sqrt(given[0]?.length ?? 1);
  // Independent random effects stay independent only while columns keep their directions.
  const transform =
    structure === 'full'
      ? orthonormal.triangle.map((entry) => entry / scale)
      : diagonal(given.map((column) => norm(column) / scale));
  const basis = {
    factor: term.factor,
    names: term.columns.map((column) => column.name),
    size,
    structure,
    transform,
    back: inverseOfUpper(transform, size),
  };
  const columns =
    structure === 'full'
      ? orthonormal.columns.map((column) => column.map((entry) => entry * scale))
      : given.map((column, i) => column.map((entry) => entry / (transform[i * size + i] ?? NaN)));
  return { basis, columns };
}

function diagonal(entries: readonly number[]): Float64Array {
  const matrix = new Float64Array(entries.length ** 2);
  entries.forEach((entry, i) => (matrix[i * entries.length + i] = entry));
  return matrix;
}

function weighted(columns: readonly NamedColumn[], roots: Float64Array | null): Float64Array[] {
  return columns.map((column) => weightedColumn(column.values, roots));
}

function weightedColumn(values: ArrayLike<number>, roots: Float64Array | null): Float64Array {
  const column = Float64Array.from(values);
  if (roots !== null) for (let i = 0; i < column.length; i++) column[i] = (column[i] ?? 0) * (roots[i] ?? 0);
  return column;
}
