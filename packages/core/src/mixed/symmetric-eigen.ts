import { EigenvalueDecomposition, Matrix } from 'ml-matrix';

/** Eigenvalues in rising order, and the eigenvector of each as a list. */
export interface SymmetricEigen {
  readonly values: readonly number[];
  readonly vectors: readonly (readonly number[])[];
}

/** Eigenvalues and eigenvectors of a small symmetric matrix, row-major. */
export function symmetricEigen(matrix: Float64Array, size: number): SymmetricEigen {
  const found = new EigenvalueDecomposition(Matrix.from1DArray(size, size, Array.from(matrix)), {
    assumeSymmetric: true,
  });
  const order = found.realEigenvalues.map((value, i) => ({ value, i })).sort((a, b) => a.value - b.value);
  return {
    values: order.map(({ value }) => value),
    vectors: order.map(({ i }) => found.eigenvectorMatrix.getColumn(i)),
  };
}
