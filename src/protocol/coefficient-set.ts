/** A set of coefficients as it travels and as a board stores it (SPEC.md, section 6.1). */
export interface CoefficientSet {
  model: 'straight' | 'bowed';
  /** 26 (straight) or 29 (bowed) numbers, each exactly representable in binary32. */
  values: readonly number[];
}
