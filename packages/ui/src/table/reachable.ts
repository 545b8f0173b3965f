/** Lets the keyboard scroll an element while its content is wider than it is; a stop for nothing otherwise. */
export function reachableWhenWide(element: HTMLElement): () => void {
  function judge(): void {
    if (element.scrollWidth > element.clientWidth) element.tabIndex = 0;
    else element.removeAttribute('tabindex');
  }
  const observer = new ResizeObserver(judge);
  observer.observe(element);
  for (const content of element.children) observer.observe(content);
  return () => observer.disconnect();
}
