import type { RandomStream } from '@longhold/core/numeric';
import type { Group, Sex } from '@longhold/core/records';
import { drawNormal } from './draws';
import { growthSince8, growthVelocity } from './growth-curve';
import { LEVELS, OVERBITE_CHANGE, SIZED_LEVELS, type LevelName } from './measure-model';
import {
  OWN_RATE_PIVOT,
  OWN_RATE_SD,
  PROTOCOLS,
  RECALL,
  SHARED_SIZE,
  TOOTH_MOVEMENT,
  type ProtocolCode,
} from './parameters';

/** What is true of one invented child and never seen in the files. */
export interface Child {
  readonly sex: Sex;
  readonly levels: Readonly<Record<LevelName, number>>;
  /** How much faster than the mean the child grows, mm of Co-Gn per year. */
  readonly ownRate: number;
}

/** What treatment does to one child. */
export interface TreatmentEffect {
  /** T, lasting part, mm of Co-Gn. */
  readonly lasting: number;
  /** S, growth brought forward, years. */
  readonly forward: number;
  readonly upperTeethBack: number;
  readonly lowerTeethForward: number;
  readonly overbiteChange: number;
}

/** When treatment acted, as ages in years; null where it never did. */
export interface TreatmentAges {
  readonly start: number;
  /** End of active treatment, or the age at which it is expected to end when it is still going on. */
  readonly end: number;
  readonly secondCourse: number | null;
}

/** Draws a child's own levels and growth rate. */
export function drawChild(random: RandomStream, sex: Sex, group: Group): Child {
  const size = random.normal();
  const level = (name: LevelName): number => {
    const shared = SIZED_LEVELS.has(name) ? SHARED_SIZE : 0;
    const deviation = Math.sqrt(shared) * size + Math.sqrt(1 - shared) * random.normal();
    return LEVELS[name].mean[group] + LEVELS[name].sd * deviation;
  };
  const levels = {
    mandible: level('mandible'),
    ramus: level('ramus'),
    corpus: level('corpus'),
    sna: level('sna'),
    anb: level('anb'),
    wits: level('wits'),
    upperBase: level('upperBase'),
    baseDifference: level('baseDifference'),
    condyle: level('condyle'),
    upperIncisor: level('upperIncisor'),
    upperMolar: level('upperMolar'),
    overjet: level('overjet'),
    molar: level('molar'),
    overbite: level('overbite'),
  };
  return { sex, levels, ownRate: OWN_RATE_SD * random.normal() };
}

/** Draws what a protocol does to one child. */
export function drawEffect(random: RandomStream, protocol: ProtocolCode): TreatmentEffect {
  const model = PROTOCOLS[protocol];
  return {
    lasting: drawNormal(random, model.lasting),
    forward: drawNormal(random, model.forward),
    upperTeethBack: drawNormal(random, model.upperTeethBack),
    lowerTeethForward: drawNormal(random, model.lowerTeethForward),
    overbiteChange: drawNormal(random, OVERBITE_CHANGE),
  };
}

/** G: the child's own growth of Co-Gn since 8 years, mm. */
export function ownGrowth(child: Child, age: number): number {
  return growthSince8(child.sex, age) + child.ownRate * (age - OWN_RATE_PIVOT);
}

/** E: the effect of treatment on Co-Gn at an age, mm, without a second course. */
export function skeletalEffect(sex: Sex, effect: TreatmentEffect, ages: TreatmentAges, age: number): number {
  return builtUp(ages, age) * (effect.lasting + effect.forward * growthVelocity(sex, age));
}

/** What a second course has added to Co-Gn by an age, mm. */
export function secondCourseEffect(ages: TreatmentAges, age: number): number {
  if (ages.secondCourse === null) return 0;
  const { mm, years } = RECALL.secondCourse;
  return mm * Math.min(1, Math.max(0, (age - ages.secondCourse) / years));
}

/** The part of a tooth movement that is there at an age, 0 to 1. */
export function toothMovementLeft(ages: TreatmentAges, age: number): number {
  const { lastingShare, fadingYears } = TOOTH_MOVEMENT;
  const since = Math.max(0, age - ages.end);
  return builtUp(ages, age) * (lastingShare + (1 - lastingShare) * Math.exp(-since / fadingYears));
}

/** Effects build up evenly from 0 at the start to 1 at the end of active treatment. */
function builtUp(ages: TreatmentAges, age: number): number {
  return Math.min(1, Math.max(0, (age - ages.start) / (ages.end - ages.start)));
}
