package cli

import (
	"github.com/spf13/cobra"

	"fairpull/internal/lab"
)

func airCommand() *cobra.Command {
	const try = `fairpull air --pressure "98.2 kPa" --temperature "24 °C" --humidity "45 %"`
	cmd := &cobra.Command{
		Use:   "air",
		Short: "Work out moist air and every correction factor from weather readings",
		Long: `Work out vapour pressure, dry pressure, density, density altitude and the factor
of every correction standard. Each reading is a number with its unit.`,
		Example: "  " + try + `
  fairpull air --altimeter "29.92 inHg" --elevation "1200 ft" --temperature "80 °F" --dew-point "60 °F" --units us
  fairpull air --pressure "960 hPa" --temperature "30 °C" --wet-bulb "22 °C" --json`,
		Args: exactly(0, "air takes its readings as flags", try),
	}
	var r lab.AirReadings
	cmd.Flags().StringVar(&r.Pressure, "pressure", "", "station (absolute) pressure, as the barometer at the rig reads it")
	cmd.Flags().StringVar(&r.Altimeter, "altimeter", "", "altimeter setting (QNH), with --elevation, where there is no barometer")
	cmd.Flags().StringVar(&r.Elevation, "elevation", "", "elevation of the site above sea level; with --pressure, to see whether that fits")
	cmd.Flags().StringVar(&r.Temperature, "temperature", "", "temperature of the intake air")
	cmd.Flags().StringVar(&r.Humidity, "humidity", "", "relative humidity")
	cmd.Flags().StringVar(&r.WetBulb, "wet-bulb", "", "wet-bulb temperature of a ventilated psychrometer")
	cmd.Flags().StringVar(&r.DewPoint, "dew-point", "", "dew point")
	cmd.Flags().StringVar(&r.Vapour, "vapour-pressure", "", "vapour pressure")
	asJSON := cmd.Flags().Bool("json", false, "write the fairpull.air/1 object, SI and unrounded")
	units := unitsFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		system, err := units()
		if err != nil {
			return err
		}
		result, err := lab.Air(r)
		if err != nil {
			return &usageError{err, try}
		}
		if *asJSON {
			return writeJSON(cmd, result.JSON)
		}
		return result.Text(cmd.OutOrStdout(), system)
	}
	return cmd
}

func writeJSON(cmd *cobra.Command, encode func() ([]byte, error)) error {
	data, err := encode()
	if err != nil {
		return err
	}
	_, err = cmd.OutOrStdout().Write(data)
	return err
}
