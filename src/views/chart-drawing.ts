import {
  BarController,
  BarElement,
  Chart,
  LinearScale,
  LineElement,
  PointElement,
  ScatterController,
  Tooltip,
} from 'chart.js';

/** As much of chart.js as is used. */
Chart.register(
  BarController,
  BarElement,
  LinearScale,
  LineElement,
  PointElement,
  ScatterController,
  Tooltip,
);

export { Chart };
