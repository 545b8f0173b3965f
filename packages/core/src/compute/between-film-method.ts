import { z } from 'zod';
import { filmErrorComponents } from '../agreement';
import { label, level } from './interval-input';
import { defineMethod } from './method';

export const betweenFilmMethod = defineMethod({
  name: 'between-film-error',
  summary: 'Error between films of one visit told apart from retracing, by nested analysis of variance',
  source: 'Searle, Casella and McCulloch 1992; Burdick and Graybill 1992',
  input: z.strictObject({
    visit: z.array(label).describe('At which visit of which patient; equal labels are one visit'),
    film: z.array(label).describe('Which film of that visit; film 1 of two visits is two films'),
    value: z.array(z.number()).describe('The reading of each row, in the unit of the measure'),
    level,
  }),
  answer: {
    level: 'Confidence level',
    visits: 'Number of visits',
    visitsWithFilms: 'Visits with two films or more, which alone tell films apart',
    films: 'Number of films',
    readings: 'Number of readings',
    retracing:
      "SD of readings about their film's mean, its degrees of freedom and chi-squared limits (null where it is 0); null where no film was read twice",
    betweenFilms:
      'What films of one visit differ by beyond retracing: variance (may be below 0), SD (0 then) and limits of the SD by the modified large-sample method; null where no film was read twice',
    whole: 'SD of one film read once, both parts together, and its limits',
    df: 'Degrees of freedom between films: films less visits, over visits with two or more',
    filmMeanSquare: "Mean square of film means about their visit's mean, every film counted once",
    retracingShare: 'How much of the retracing variance that mean square holds',
  },
  example: {
    about: 'Invented Co-Gn lengths in mm: six visits with two films, some of them traced twice.',
    input: {
      visit: ['a', 'a', 'a', 'b', 'b', 'c', 'c', 'c', 'c', 'd', 'd', 'e', 'e', 'e', 'f', 'f'],
      film: [1, 1, 2, 1, 2, 1, 1, 2, 2, 1, 2, 1, 2, 2, 1, 2],
      value: [
        112.1, 112.8, 113.9, 108.4, 107.2, 118.2, 117.5, 116.0, 116.6, 110.3, 111.7, 121.0, 120.2, 119.7,
        105.1, 106.2,
      ],
    },
  },
  run: ({ level: confidence, ...data }) => filmErrorComponents(data, { level: confidence }),
});
