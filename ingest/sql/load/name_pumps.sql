UPDATE pump SET serial = n.serial FROM named_pumps n WHERE pump.pump_id = n.pump_id
