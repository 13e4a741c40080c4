import { LitElement } from 'lit';

/**
 * What every view is: it shows what it is given and passes intentions on. Views render into the page itself, not into
 * shadow trees: one style sheet, and labels that may name elements of other views.
 */
export abstract class View extends LitElement {
  protected override createRenderRoot(): HTMLElement {
    return this;
  }
}
