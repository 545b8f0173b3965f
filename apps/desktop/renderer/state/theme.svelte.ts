export const THEME_CHOICES = ['system', 'light', 'dark'] as const;
export type ThemeChoice = (typeof THEME_CHOICES)[number];

const STORAGE_NAME = 'longhold-theme';

/** Light or dark: the user's choice, else the system's preference. Written to the root element. */
export class Theme {
  #choice = $state<ThemeChoice>('system');
  #system = window.matchMedia('(prefers-color-scheme: dark)');

  constructor() {
    this.#choice = THEME_CHOICES.find((known) => known === readChoice()) ?? 'system';
    this.#system.addEventListener('change', () => this.#apply());
    this.#apply();
  }

  get choice(): ThemeChoice {
    return this.#choice;
  }

  choose(choice: ThemeChoice): void {
    this.#choice = choice;
    keepChoice(choice);
    this.#apply();
  }

  #apply(): void {
    const dark = this.#choice === 'dark' || (this.#choice === 'system' && this.#system.matches);
    document.documentElement.dataset['theme'] = dark ? 'dark' : 'light';
  }
}

/* Storage can be refused (private window, full disk); the choice then lasts as long as the window. */
function readChoice(): string | null {
  try {
    return window.localStorage.getItem(STORAGE_NAME);
  } catch {
    return null;
  }
}

function keepChoice(choice: ThemeChoice): void {
  try {
    window.localStorage.setItem(STORAGE_NAME, choice);
  } catch {
    return;
  }
}
