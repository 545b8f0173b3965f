import {
  ownGrowth,
  secondCourseEffect,
  skeletalEffect,
  toothMovementLeft,
  type Child,
  type TreatmentAges,
  type TreatmentEffect,
} from './child';
import { MOLAR_SHARE, RESPONSES, type MeasureValues } from './measure-model';
import { GROWTH_CURVE } from './parameters';

/** A child's treatment, or null in the untreated series. */
export type Treatment = { readonly effect: TreatmentEffect; readonly ages: TreatmentAges } | null;

/** Every measure of one child at one age, free of measurement error. Units as in the catalogue of measures. */
export function trueValues(child: Child, treatment: Treatment, age: number): MeasureValues {
  const { levels, sex } = child;
  const growth = ownGrowth(child, age);
  const skeletal =
    treatment === null
      ? 0
      : skeletalEffect(sex, treatment.effect, treatment.ages, age) + secondCourseEffect(treatment.ages, age);
  const moved = treatment === null ? 0 : toothMovementLeft(treatment.ages, age);
  const back = (treatment?.effect.upperTeethBack ?? 0) * moved;
  const forward = (treatment?.effect.lowerTeethForward ?? 0) * moved;
  const larger = GROWTH_CURVE[sex].sizeAt8 - GROWTH_CURVE.female.sizeAt8;
  const respond = (measure: keyof typeof RESPONSES): number =>
    RESPONSES[measure].growth * growth + RESPONSES[measure].effect * skeletal;
  const sized = (measure: keyof typeof RESPONSES, level: number): number =>
    level + RESPONSES[measure].growth * larger + respond(measure);

  const sna = levels.sna + respond('SNA');
  const snb = levels.sna - levels.anb + respond('SNB');
  const upperBase = sized('ss-OLp', levels.upperBase);
  const lowerBase =
    levels.upperBase + levels.baseDifference + RESPONSES['pg-OLp'].growth * larger + respond('pg-OLp');
  const upperIncisor = upperBase + levels.upperIncisor - back;
  const upperMolar = upperBase + levels.upperMolar - MOLAR_SHARE * back;
  const skeletalCorrection = (RESPONSES['pg-OLp'].effect - RESPONSES['ss-OLp'].effect) * skeletal;
  const overjet = levels.overjet - skeletalCorrection - back - forward;
  const molar = levels.molar - skeletalCorrection - MOLAR_SHARE * (back + forward);

  return {
    'Co-Gn': GROWTH_CURVE[sex].sizeAt8 + levels.mandible + respond('Co-Gn'),
    'Co-Go': sized('Co-Go', levels.ramus),
    'Go-Pog': sized('Go-Pog', levels.corpus),
    SNA: sna,
    SNB: snb,
    ANB: sna - snb,
    Wits: levels.wits + respond('Wits'),
    overjet,
    overbite: levels.overbite + (treatment?.effect.overbiteChange ?? 0) * moved,
    molar,
    'ss-OLp': upperBase,
    'pg-OLp': lowerBase,
    'is-OLp': upperIncisor,
    'ii-OLp': upperIncisor - overjet,
    'ms-OLp': upperMolar,
    'mi-OLp': upperMolar - molar,
    'co-OLp': sized('co-OLp', levels.condyle),
  };
}
