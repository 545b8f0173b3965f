import {
  parseAddress,
  queryOf,
  writeAddress,
  type Address,
  type OutcomePage,
  type PoolingPart,
  type ScreenName,
} from './address';
import {
  holdsQuestion,
  readQuestion,
  writeQuestion,
  type ChosenQuestion,
  type UnreadPart,
} from './question-address';

/** The browser's address bar and history, as far as the route needs them. */
export interface AddressBar {
  readonly hash: () => string;
  /** Go somewhere new; the back button comes back. */
  readonly push: (hash: string) => void;
  /** Change the address without a step in the history. */
  readonly replace: (hash: string) => void;
}

/** Where the user is, kept in step with the address bar. */
export class Route {
  #bar: AddressBar;
  #address = $state.raw<Address>(parseAddress(''));
  /* The question outlives screens that don't show it, so that going to Methods and back asks the same again. */
  #question = $state.raw<ChosenQuestion>(readQuestion().question);
  #unread = $state.raw<readonly UnreadPart[]>([]);

  constructor(bar: AddressBar) {
    this.#bar = bar;
    this.follow();
  }

  get screen(): ScreenName {
    return this.#address.screen;
  }

  get code(): string | null {
    return this.#address.code;
  }

  get query(): URLSearchParams {
    return this.#address.query;
  }

  /** The question of Outcomes that is shown. */
  get page(): OutcomePage {
    return this.#address.page;
  }

  /** The part of Pooling that is shown; null where the address names none. */
  get part(): PoolingPart | null {
    return this.#address.part;
  }

  get question(): ChosenQuestion {
    return this.#question;
  }

  /** Parts of the address that made no sense and were left aside. */
  get unread(): readonly UnreadPart[] {
    return this.#unread;
  }

  /** Read the address bar again: after the back button, a link, or a typed address. */
  follow(): void {
    this.#address = parseAddress(this.#bar.hash());
    const { question, unread } = readQuestion(this.#address.query);
    this.#unread = unread;
    if (holdsQuestion(this.#address.query)) this.#question = question;
  }

  /** The address of a screen, with the question in force where the screen asks one. */
  linkTo(
    screen: ScreenName,
    code: string | null = null,
    extra: Readonly<Record<string, string>> = {},
  ): string {
    const asks = screen === 'outcomes' || screen === 'patients';
    const own = queryOf(extra);
    return writeAddress({ screen, code, query: asks ? writeQuestion(this.question, own) : own });
  }

  /** The address of one of the three questions of Outcomes, asked as they are now. */
  linkToPage(page: OutcomePage): string {
    return writeAddress({ screen: 'outcomes', page, query: writeQuestion(this.question) });
  }

  /** The address of one part of Pooling. */
  linkToPart(part: PoolingPart): string {
    return writeAddress({ screen: 'pooling', part });
  }

  /** Change the query of this screen. Typing replaces the address; choosing makes a step in the history. */
  change(query: URLSearchParams, how: 'step' | 'replace' = 'step'): void {
    const hash = writeAddress({
      screen: this.screen,
      code: this.code,
      page: this.page,
      part: this.part,
      query,
    });
    if (hash === this.#bar.hash()) return;
    if (how === 'step') this.#bar.push(hash);
    else this.#bar.replace(hash);
    this.follow();
  }

  /** Ask something else on this screen; a list on it starts again at page 1. */
  ask(question: ChosenQuestion): void {
    const query = writeQuestion(question, this.query);
    query.delete('page');
    this.change(query);
  }
}

/** The real address bar of this window. */
export const windowBar: AddressBar = {
  hash: () => window.location.hash,
  push: (hash) => window.history.pushState(null, '', hash),
  replace: (hash) => window.history.replaceState(null, '', hash),
};
