"""Many sensors one after another: series, batch sheet, gauge study."""
