export { flowFigure } from './flow-figure';
export { retentionFigure, type RetentionFigureInput } from './retention-figure';
export { survivalFigure } from './survival-figure';
