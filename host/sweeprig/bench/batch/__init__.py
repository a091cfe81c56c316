"""Many sensors one after another: series, batch sheet, gauge R&R study."""
