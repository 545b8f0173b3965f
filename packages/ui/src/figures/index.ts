export { flowFigure } from './flow-figure';
export { retentionFigure, type RetentionFigureInput } from './retention-figure';
export { survivalFigure } from './survival-figure';
export { absenceModel } from '../charts/absence-model';
export { chartSvg } from '../charts/chart-svg';
export { groupCurvesModel } from '../charts/group-curves-model';
export { incidenceModel } from '../charts/incidence-model';
export { partsModel, SPAN_WORDS } from '../charts/parts-model';
export { separationModel } from '../charts/separation-model';
