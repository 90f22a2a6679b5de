mod drawn;
mod plant;
