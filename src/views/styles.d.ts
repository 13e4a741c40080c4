/** The bundler loads a view's style with the view. */
declare module '*.css';
